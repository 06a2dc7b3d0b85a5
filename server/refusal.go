package server

import (
	"context"
	"errors"
	"fmt"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// Domain stands beside the reason in the details of a status.
const Domain = "knowngood.example"

// Refusal says why something was not done, where, and what would have been
// right. Every error that a method of Server returns is one, or wraps the error
// of a context, or is a fault of the server itself.
type Refusal struct {
	Reason boardv1.Reason
	Text   string
	// Head is the last seq of the stream, for REASON_PLACE_TAKEN.
	Head uint64
}

func (r *Refusal) Error() string { return r.Text }

func refuse(reason boardv1.Reason, format string, args ...any) *Refusal {
	return &Refusal{Reason: reason, Text: fmt.Sprintf(format, args...)}
}

// notFound answers for what does not exist and for what the caller may not see,
// in the same words.
func notFound(stream string) *Refusal {
	return refuse(boardv1.Reason_REASON_NOT_FOUND, "there is nothing by the name %q that you may see", clip(stream))
}

// codes by reason; a reason that is not here is a fault of the server.
var codeOf = map[boardv1.Reason]codes.Code{
	boardv1.Reason_REASON_MALFORMED:     codes.InvalidArgument,
	boardv1.Reason_REASON_IMPOSSIBLE:    codes.InvalidArgument,
	boardv1.Reason_REASON_SIGNATURE:     codes.InvalidArgument,
	boardv1.Reason_REASON_DEVICE:        codes.PermissionDenied,
	boardv1.Reason_REASON_DEVICE_NUMBER: codes.FailedPrecondition,
	boardv1.Reason_REASON_ID_TAKEN:      codes.AlreadyExists,
	boardv1.Reason_REASON_PLACE_TAKEN:   codes.Aborted,
	boardv1.Reason_REASON_NOT_FOUND:     codes.NotFound,
	boardv1.Reason_REASON_NOT_ALLOWED:   codes.PermissionDenied,
	boardv1.Reason_REASON_TOO_BIG:       codes.InvalidArgument,
	boardv1.Reason_REASON_NO_ROOM:       codes.ResourceExhausted,
	boardv1.Reason_REASON_WHO_ARE_YOU:   codes.Unauthenticated,
	boardv1.Reason_REASON_JOIN_CODE:     codes.PermissionDenied,
	boardv1.Reason_REASON_STOPPED:       codes.Unavailable,
	boardv1.Reason_REASON_TOO_SLOW:      codes.Aborted,
	boardv1.Reason_REASON_QUERY:         codes.InvalidArgument,
	boardv1.Reason_REASON_LIMIT:         codes.ResourceExhausted,
	boardv1.Reason_REASON_ERASED:        codes.NotFound,
	boardv1.Reason_REASON_NOT_YET:       codes.NotFound,
}

// wire turns an error of a method into the status that goes to the caller. What
// went wrong inside is for the server's log, not for the wire.
func wire(err error) error {
	if err == nil {
		return nil
	}
	var r *Refusal
	switch {
	case errors.As(err, &r):
		code, ok := codeOf[r.Reason]
		if !ok {
			code = codes.Internal
		}
		st := status.New(code, r.Text)
		if with, err := st.WithDetails(&errdetails.ErrorInfo{Reason: r.Reason.String(), Domain: Domain}); err == nil {
			st = with
		}
		return st.Err()
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return status.FromContextError(err).Err()
	}
	if _, ok := status.FromError(err); ok {
		return err
	}
	return status.Error(codes.Internal, "the server failed at this; its own log says why")
}

func clip(s string) string {
	if len(s) > 60 {
		return s[:57] + "..."
	}
	return s
}
