package badger

import (
	"fmt"
	"log/slog"
	"strings"

	badgerdb "github.com/dgraph-io/badger/v4"
)

// slogger hands Badger's messages on, one level below what it calls them but for
// errors: it says at info what concerns only itself.
type slogger struct{ to *slog.Logger }

func logger(to *slog.Logger) badgerdb.Logger {
	if to == nil {
		return nil
	}
	return slogger{to.With("from", "badger")}
}

func (s slogger) Errorf(f string, a ...any)   { s.to.Error(text(f, a)) }
func (s slogger) Warningf(f string, a ...any) { s.to.Info(text(f, a)) }
func (s slogger) Infof(f string, a ...any)    { s.to.Debug(text(f, a)) }
func (s slogger) Debugf(string, ...any)       {}

func text(f string, a []any) string { return strings.TrimSpace(fmt.Sprintf(f, a...)) }
