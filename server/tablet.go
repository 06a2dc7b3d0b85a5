package server

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/tls"
	"errors"
	"fmt"

	"google.golang.org/protobuf/proto"

	"knowngood.example/cases"
	"knowngood.example/cases/envelope"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// tabletKey holds the seed of the key of a device that the server holds for a tablet.
func tabletKey(device string) string { return prefixTablet + raw(device) }

// JoinTablet turns a code into a person whose device's key stays here, and the token
// that the tablet keeps. Everybody is told that the key is held by the server.
func (s *Server) JoinTablet(ctx context.Context, from, code, name string) (token string, err error) {
	public, key, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return "", fmt.Errorf("no key could be made: %w", err)
	}
	device := s.options.NewID()
	r, err := s.join(ctx, from, &boardv1.JoinRequest{Code: code, PersonName: name, Device: device, PublicKey: public}, key.Seed())
	return r.GetToken(), err
}

// Known is whom a token stands for. It counts as a call that brings so many bytes.
func (s *Server) Known(ctx context.Context, token, from string, size int) (Caller, error) {
	c, err := s.Identify(ctx, token)
	counted := c.Device
	if err != nil {
		counted = from
	}
	if over := s.limits.call(counted, size, s.now()); over != nil {
		return c, over
	}
	return c, err
}

// With calls look with a case as the log has it, if the caller may see its entries.
// The case must not be kept or changed.
func (s *Server) With(ctx context.Context, c Caller, stream string, look func(*cases.Case) error) error {
	if _, err := s.admit(c, boardv1.BoardService_Entries_FullMethodName, stream); err != nil {
		return err
	}
	if s.register.access(stream) == nil {
		return notFound(stream) // the register of a shop is no case
	}
	return s.folds.with(ctx, stream, look)
}

// Names of the shops and people that the caller has to do with.
func (s *Server) Names(ctx context.Context, c Caller) (cases.Names, error) { return s.names(ctx, c) }

// Record numbers, signs and appends one event of a case, or one that opens it, for a caller whose key is
// held here. What it leaves out is filled in but for its moment. An event whose id
// stands in the case already, written by the same device and saying the same, is
// answered with its place.
func (s *Server) Record(ctx context.Context, c Caller, e *eventv1.Event) (*boardv1.AppendResult, error) {
	seed, err := s.log.Get(ctx, tabletKey(c.Device))
	if err != nil {
		return nil, err
	}
	if len(seed) != ed25519.SeedSize {
		return nil, refuse(boardv1.Reason_REASON_DEVICE, "device: the key of %s is not held here; it signs by itself", c.Device)
	}
	// One after another: two at once would take one number.
	s.tablets.Lock()
	defer s.tablets.Unlock()
	var held *boardv1.AppendResult
	err = s.With(ctx, c, e.GetStream(), func(k *cases.Case) error {
		if step := k.ByID(e.GetId()); step != nil {
			if step.Entry.GetDevice() != c.Device {
				return refuse(boardv1.Reason_REASON_ID_TAKEN, "id: %s stands in this case, and another device wrote it", e.GetId())
			}
			held = &boardv1.AppendResult{Id: step.ID, Seq: step.Seq, HeldAlready: true}
			return nil
		}
		steps := k.Steps()
		e.DeviceSeq, e.Prev = 1, nil
		for i := len(steps) - 1; i >= 0; i-- {
			if last := steps[i].Entry; last.GetDevice() == c.Device {
				e.DeviceSeq, e.Prev = last.GetDeviceSeq()+1, bytes.Clone(last.GetEventHash())
				break
			}
		}
		if e.ObservedThrough == 0 {
			e.ObservedThrough = k.Head()
		}
		return nil
	})
	var no *Refusal
	if e.GetCaseOpened() != nil && errors.As(err, &no) && no.Reason == boardv1.Reason_REASON_NOT_FOUND {
		e.DeviceSeq, e.Prev, err = 1, nil, nil // it opens the case
	}
	if err != nil || held != nil {
		return held, err
	}
	e.Device, e.RecordedBy, e.Salt = c.Device, c.Person, random(envelope.SaltSize)
	if e.Id == "" {
		e.Id = s.options.NewID()
	}
	signed, err := envelope.Sign(proto.CloneOf(e), ed25519.NewKeyFromSeed(seed))
	if err != nil {
		return nil, refuse(boardv1.Reason_REASON_IMPOSSIBLE, "%v", err)
	}
	r, err := s.Append(ctx, c, []*eventv1.Signed{signed})
	if err != nil {
		return nil, err
	}
	if len(r.GetResults()) != 1 {
		return nil, errors.New("one event has one answer")
	}
	got := r.GetResults()[0]
	if got.GetReason() != boardv1.Reason_REASON_UNSPECIFIED {
		return nil, &Refusal{Reason: got.GetReason(), Text: got.GetText(), Head: got.GetHead()}
	}
	return got, nil
}

// Follows is Watch for a page: it counts among the streams of the device.
func (s *Server) Follows(ctx context.Context, c Caller, req *boardv1.WatchRequest, send func(*boardv1.WatchResponse) error) error {
	leave, err := s.begin(c)
	if err != nil {
		return err
	}
	defer leave()
	return s.Watch(ctx, c, req, send)
}

// TLS is how the page is served: by the same authority as everything else.
func (s *Server) TLS() *tls.Config { return s.secure.config() }

// Authority is the certificate that a tablet is told to trust, DER.
func (s *Server) Authority() []byte { return s.identity.authority.certificate.Raw }

// Hosts are the names and addresses that this server is reached by.
func (s *Server) Hosts() []string { return s.hosts() }
