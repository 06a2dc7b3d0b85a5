package server

import (
	"context"
	"crypto/ed25519"
	"crypto/subtle"
	"encoding/base64"
	"strings"

	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/peer"

	"knowngood.example/cases/join"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// Meeting is what somebody shows who wants to find out whether this is the server.
type Meeting struct {
	// From is the address it came from.
	From string
	// Channel is the material exported from its connection.
	Channel []byte
	// Proof of a join code; nil: none is shown.
	Proof []byte
}

// Meet proves over a connection that this is the server: by the log's key, and by
// the join code that was shown. Package join has it step by step.
func (s *Server) Meet(ctx context.Context, m Meeting) (*boardv1.MeetResponse, error) {
	if !mayCall(boardv1.RegisterService_Meet_FullMethodName, stranger, nowhere) {
		return nil, refuse(boardv1.Reason_REASON_NOT_ALLOWED, "nobody may meet the server here")
	}
	if err := s.limits.call(m.From, 0, s.now()); err != nil {
		return nil, err
	}
	if len(m.Channel) != join.ChannelSize {
		return nil, refuse(boardv1.Reason_REASON_MALFORMED, "the connection has nothing to prove anything over: connect with TLS 1.3")
	}
	out := &boardv1.MeetResponse{LogSignature: ed25519.Sign(s.identity.key, join.LogClaim(m.Channel))}
	if m.Proof == nil {
		return out, nil
	}
	if err := s.mayTry(m.From); err != nil {
		return nil, err
	}
	for w, err := range s.log.Scan(ctx, prefixCode) {
		if err != nil {
			return nil, err
		}
		i, err := readInvitation(w)
		if err != nil {
			return nil, err
		}
		key := join.Key(w.Key[len(prefixCode):])
		if fits := subtle.ConstantTimeCompare(key.DeviceProof(m.Channel), m.Proof) == 1; fits && s.now().Before(i.Expires) {
			out.Proof = key.ServerProof(m.Channel)
		}
	}
	if out.Proof == nil {
		return nil, badCode()
	}
	return out, nil
}

// meeting is what the call shows.
func meeting(ctx context.Context) Meeting {
	m := Meeting{From: address(ctx)}
	if p, ok := peer.FromContext(ctx); ok {
		if info, ok := p.AuthInfo.(credentials.TLSInfo); ok {
			if channel, err := info.State.ExportKeyingMaterial(join.ChannelLabel, nil, join.ChannelSize); err == nil {
				m.Channel = channel
			}
		}
	}
	md, _ := metadata.FromIncomingContext(ctx)
	if v := md.Get("authorization"); len(v) == 1 {
		if text, ok := strings.CutPrefix(v[0], "Join "); ok {
			// What is no base64 proves nothing, and counts as a try.
			m.Proof, _ = base64.RawURLEncoding.DecodeString(text)
			if m.Proof == nil {
				m.Proof = []byte{}
			}
		}
	}
	return m
}
