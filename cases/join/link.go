package join

import (
	"crypto/sha256"
	"encoding/base32"
	"fmt"
	"strconv"
	"strings"
)

// Pin is what a server's certificate authority is known by.
type Pin [sha256.Size]byte

// PinOf is the pin of an authority with this SubjectPublicKeyInfo, in DER.
func PinOf(publicKeyInfo []byte) Pin { return sha256.Sum256(publicKeyInfo) }

// IsZero reports whether there is none.
func (p Pin) IsZero() bool { return p == Pin{} }

func encoding() *base32.Encoding { return base32.NewEncoding(Alphabet).WithPadding(base32.NoPadding) }

func (p Pin) String() string { return encoding().EncodeToString(p[:]) }

// MarshalText writes the pin as text; none is empty.
func (p Pin) MarshalText() ([]byte, error) {
	if p.IsZero() {
		return nil, nil
	}
	return []byte(p.String()), nil
}

// UnmarshalText reads what MarshalText wrote.
func (p *Pin) UnmarshalText(text []byte) (err error) {
	*p = Pin{}
	if len(text) > 0 {
		*p, err = ParsePin(string(text))
	}
	return err
}

const pinLetters = 52

// ParsePin reads a pin as text.
func ParsePin(text string) (Pin, error) {
	if len(text) != pinLetters {
		return Pin{}, fmt.Errorf("the server's pin has %d letters; %d are meant", len(text), pinLetters)
	}
	letters := make([]byte, 0, pinLetters)
	for i, r := range text {
		letter, ok := letterOf(r)
		if !ok {
			return Pin{}, fmt.Errorf("letter %d of the server's pin, %q, is none of a pin", i+1, r)
		}
		letters = append(letters, letter)
	}
	var p Pin
	if _, err := encoding().Decode(p[:], letters); err != nil || p.String() != string(letters) {
		return Pin{}, fmt.Errorf("the server's pin does not end as one does: its last letter is wrong")
	}
	if p.IsZero() {
		return Pin{}, fmt.Errorf("the server's pin is all zeros, which is none")
	}
	return p, nil
}

// Link is all that a device needs to join.
type Link struct {
	// Code in groups.
	Code string
	Pin  Pin
	// Addresses of the server, host:port, in the order in which to try them.
	Addresses []string
}

func (l Link) String() string {
	return strings.Join(append([]string{l.Code, l.Pin.String()}, l.Addresses...), "/")
}

// IsLink reports whether what was typed is meant as a link rather than a code.
func IsLink(typed string) bool { return strings.Contains(typed, "/") }

const (
	maxLink      = 2000
	maxAddresses = 16
)

// ParseLink reads a link. The error says which part of it is wrong.
func ParseLink(typed string) (Link, error) {
	if len(typed) > maxLink {
		return Link{}, fmt.Errorf("the join link has %d characters; at most %d make one", len(typed), maxLink)
	}
	parts := strings.Split(strings.TrimSpace(typed), "/")
	if len(parts) < 3 {
		return Link{}, fmt.Errorf("the join link ends too early: code, pin and address are meant, with '/' between them")
	}
	if len(parts) > 2+maxAddresses {
		return Link{}, fmt.Errorf("the join link has %d addresses; at most %d are meant", len(parts)-2, maxAddresses)
	}
	var l Link
	var err error
	if l.Code, err = ParseCode(parts[0]); err != nil {
		return Link{}, fmt.Errorf("in the join link: %w", err)
	}
	if l.Pin, err = ParsePin(parts[1]); err != nil {
		return Link{}, fmt.Errorf("in the join link: %w", err)
	}
	for _, address := range parts[2:] {
		address = strings.ToLower(address)
		if err := CheckAddress(address); err != nil {
			return Link{}, fmt.Errorf("in the join link: %w", err)
		}
		l.Addresses = append(l.Addresses, address)
	}
	return l, nil
}

const letters = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"

// CheckAddress refuses what is not host:port, with a port from 1 to 65535. An IPv6
// address stands in brackets.
func CheckAddress(address string) error {
	at := strings.LastIndexByte(address, ':')
	bad := fmt.Errorf("%.80q is no server address: host:port is meant, such as 192.168.1.20:7411", address)
	if at < 1 {
		return bad
	}
	host := address[:at]
	if port, err := strconv.ParseUint(address[at+1:], 10, 16); err != nil || port == 0 {
		return bad
	}
	if strings.ContainsFunc(host, func(r rune) bool { return !strings.ContainsRune(letters+"-._%:[]", r) }) {
		return bad
	}
	if bracketed := strings.HasPrefix(host, "[") && strings.HasSuffix(host, "]"); !bracketed && strings.ContainsAny(host, ":[]") {
		return bad
	}
	return nil
}
