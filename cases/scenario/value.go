package scenario

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/encoding/prototext"
	"google.golang.org/protobuf/reflect/protoreflect"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// set puts the value at the path.
func set(m protoreflect.Message, path []string, value string) error {
	f := m.Descriptor().Fields().ByName(fieldName(path[0]))
	if f == nil {
		return fmt.Errorf("%s has no field %q", m.Descriptor().Name(), path[0])
	}
	if len(path) > 1 {
		if f.Message() == nil || f.IsList() {
			return fmt.Errorf("%q is no message", path[0])
		}
		return set(m.Mutable(f).Message(), path[1:], value)
	}
	if f.IsList() {
		list := m.Mutable(f).List()
		if f.Message() != nil && f.Message().Name() == "Covered" && !strings.HasPrefix(value, "{") {
			for _, name := range strings.Split(value, ",") {
				list.Append(protoreflect.ValueOfMessage(covered(name).ProtoReflect()))
			}
			return nil
		}
		v, err := read(f, value, list.NewElement)
		if err == nil {
			list.Append(v)
		}
		return err
	}
	v, err := read(f, value, func() protoreflect.Value { return m.NewField(f) })
	if err == nil {
		m.Set(f, v)
	}
	return err
}

func read(f protoreflect.FieldDescriptor, value string, fresh func() protoreflect.Value) (protoreflect.Value, error) {
	switch f.Kind() {
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(reference(value)), nil
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(value == "yes"), nil
	case protoreflect.BytesKind:
		return protoreflect.ValueOfBytes([]byte(value)), nil
	case protoreflect.Uint64Kind:
		n, err := strconv.ParseUint(value, 10, 64)
		return protoreflect.ValueOfUint64(n), err
	case protoreflect.Uint32Kind:
		n, err := strconv.ParseUint(value, 10, 32)
		return protoreflect.ValueOfUint32(uint32(n)), err
	case protoreflect.EnumKind:
		return readEnum(f.Enum(), value)
	case protoreflect.MessageKind:
		return readMessage(f.Message(), value, fresh)
	}
	return protoreflect.Value{}, fmt.Errorf("a field of kind %s cannot be written in a scenario", f.Kind())
}

func readEnum(d protoreflect.EnumDescriptor, word string) (protoreflect.Value, error) {
	prefix := strings.TrimSuffix(string(d.Values().ByNumber(0).Name()), "UNSPECIFIED")
	v := d.Values().ByName(protoreflect.Name(prefix + strings.ToUpper(strings.ReplaceAll(word, "-", "_"))))
	if v == nil {
		return protoreflect.Value{}, fmt.Errorf("%s has no value %q", d.Name(), word)
	}
	return protoreflect.ValueOfEnum(v.Number()), nil
}

func readMessage(d protoreflect.MessageDescriptor, value string, fresh func() protoreflect.Value) (protoreflect.Value, error) {
	if strings.HasPrefix(value, "{") {
		v := fresh()
		return v, prototext.Unmarshal([]byte(value[1:len(value)-1]), v.Message().Interface())
	}
	words := strings.Fields(value)
	switch d.Name() {
	case "Moment":
		return protoreflect.ValueOfMessage(readMoment(value).ProtoReflect()), nil
	case "TroubleCode":
		return protoreflect.ValueOfMessage((&eventv1.TroubleCode{Code: value}).ProtoReflect()), nil
	case "Money":
		if len(words) == 2 {
			n, err := strconv.ParseInt(strings.ReplaceAll(words[0], ".", ""), 10, 64)
			return protoreflect.ValueOfMessage((&eventv1.Money{Minor: n, Currency: words[1]}).ProtoReflect()), err
		}
	case "Quantity":
		if len(words) >= 2 {
			return protoreflect.ValueOfMessage(quantity(words).ProtoReflect()), nil
		}
	}
	return protoreflect.Value{}, fmt.Errorf("%q is no %s", value, d.Name())
}

func quantity(words []string) *eventv1.Quantity {
	q := &eventv1.Quantity{Digits: words[0], Unit: words[1], Sense: eventv1.Sense_SENSE_EXACTLY}
	if words[0] == "OL" {
		q.Digits, q.Sense = "", eventv1.Sense_SENSE_OVER_RANGE
	}
	if len(words) > 2 && words[2] == "drop" {
		q.Shape = eventv1.Shape_SHAPE_DROP
	}
	return q
}

func covered(name string) *eventv1.Covered {
	name = strings.TrimSpace(name)
	if rest, ok := strings.CutPrefix(name, "mostly "); ok {
		return &eventv1.Covered{Component: rest, Extent: eventv1.Extent_EXTENT_MOSTLY}
	}
	return &eventv1.Covered{Component: name, Extent: eventv1.Extent_EXTENT_WHOLE}
}

func readMoment(s string) *eventv1.Moment {
	if t, err := time.Parse("2006-01-02T15:04Z07:00", s); err == nil {
		return moment(t)
	}
	if t, err := time.Parse("2006-01-02", s); err == nil {
		m := moment(t)
		m.Precision = eventv1.Precision_PRECISION_DAY
		return m
	}
	return &eventv1.Moment{Precision: eventv1.Precision_PRECISION_UNKNOWN, Said: s}
}

func moment(t time.Time) *eventv1.Moment {
	_, offset := t.Zone()
	return &eventv1.Moment{
		UnixSeconds: t.Unix(), OffsetMinutes: int32(offset / 60), Precision: eventv1.Precision_PRECISION_MINUTE,
	}
}
