package check

import (
	"fmt"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func (c checker) shopOpened(k *eventv1.ShopOpened) {
	c.needs("name", k.GetName(), "give the name by which others know the shop")
	c.name("name", k.GetName())
	if _, err := notation.MinorDigits(k.GetCurrency()); err != nil {
		c.refuse("currency", err.Error(), "")
	}
}

func (c checker) personAdded(k *eventv1.PersonAdded) {
	c.mustID("person", k.GetPerson(), "a person; names are kept elsewhere")
	if k.GetRole() == eventv1.Role_ROLE_UNSPECIFIED {
		c.refuse("role", "is not set", "it is owner, technician or guest specialist")
	}
}

func (c checker) deviceAdded(k *eventv1.DeviceAdded) {
	c.mustID("device", k.GetDevice(), "a device")
	c.optionalID("person", k.GetPerson(), "a person")
	if n := len(k.GetPublicKey()); n != digestSize {
		c.refuse("public_key", fmt.Sprintf("has %d bytes", n), "an Ed25519 public key has 32")
	}
}

func (c checker) roleGiven(k *eventv1.RoleGiven) {
	c.mustID("person", k.GetPerson(), "a person")
	if k.GetRole() == eventv1.Role_ROLE_UNSPECIFIED && !k.GetLeft() {
		c.refuse("role", "is not set", "give a role, or say that the person left")
	}
}

func (c checker) restored(k *eventv1.Restored) {
	if k.GetEpoch() == 0 {
		c.refuse("epoch", "is 0", "epochs count from 1")
	}
	if n := len(k.GetRoot()); n != digestSize {
		c.refuse("root", fmt.Sprintf("has %d bytes", n), "a root has 32")
	}
}
