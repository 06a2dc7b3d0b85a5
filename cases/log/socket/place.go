package socket

import (
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
)

// Place is the socket of a folder, and the listener on it.
type Place struct {
	net.Listener
	path string
}

// longest path that every system takes for a socket.
const longest = 100

const (
	hostFile     = "host"
	socketFile   = "socket"
	socketFolder = "knowngood-socket-"
)

// Listen makes the socket of a folder and says in its file 'host' where it lies.
// Whoever calls it is the only one that does: what an owner left that was killed is
// cleared away.
func Listen(folder string) (*Place, error) {
	said := filepath.Join(folder, hostFile)
	if old, err := os.ReadFile(said); err == nil {
		drop(string(old))
	}
	dir, err := filepath.Abs(folder)
	if err != nil {
		return nil, fmt.Errorf("cannot tell where %s lies: %w", folder, err)
	}
	p := &Place{path: filepath.Join(dir, socketFile)}
	if len(p.path) <= longest {
		_ = os.Remove(p.path) // left by an owner that was killed before it wrote 'host'
	} else if dir, err = os.MkdirTemp("", socketFolder); err == nil {
		p.path = filepath.Join(dir, socketFile)
	} else {
		return nil, fmt.Errorf("cannot make a folder for the socket: %w", err)
	}
	if p.Listener, err = net.Listen("unix", p.path); err != nil {
		return nil, fmt.Errorf("cannot share what %s holds with other commands: %w", folder, err)
	}
	temporary := said + ".new"
	if err = os.WriteFile(temporary, []byte(p.path), 0o600); err == nil {
		err = os.Rename(temporary, said)
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("cannot say where the socket of %s lies: %w", folder, err), p.Close())
	}
	return p, nil
}

// Drop removes the socket once its listener is closed.
func (p *Place) Drop() { drop(p.path) }

// drop removes a socket, and the folder that was made for it.
func drop(path string) {
	_ = os.Remove(path)
	if dir := filepath.Dir(path); strings.HasPrefix(filepath.Base(dir), socketFolder) {
		_ = os.Remove(dir)
	}
}
