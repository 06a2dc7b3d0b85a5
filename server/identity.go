package server

import (
	"crypto/ed25519"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"golang.org/x/mod/sumdb/note"

	"knowngood.example/cases/log"
	"knowngood.example/cases/notation"
)

// identity is the server's own: the id of its log, its device and its key, which
// signs its events and the log's checkpoints; and the authority that its TLS
// certificates come from.
type identity struct {
	log, device string
	key         ed25519.PrivateKey
	authority   *authority
}

// identityFile is how it lies in the data folder.
type identityFile struct {
	Log    string `json:"log"`
	Device string `json:"device"`
	Seed   []byte `json:"seed"`
	// Authority is its certificate, AuthorityKey its key as PKCS #8, both DER. A
	// folder from before TLS has none.
	Authority    []byte `json:"authority"`
	AuthorityKey []byte `json:"authority_key"`
}

func (i *identity) public() ed25519.PublicKey { return i.key.Public().(ed25519.PublicKey) }

// verifierKey is the log's key as golang.org/x/mod/sumdb/note writes it.
func (i *identity) verifierKey() (string, error) {
	return note.NewEd25519VerifierKey(log.Origin(i.log), i.public())
}

func newIdentity(newID func() string) (*identity, error) {
	_, key, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return nil, fmt.Errorf("no key could be made: %w", err)
	}
	i := &identity{log: hex.EncodeToString(random(8)), device: newID(), key: key}
	i.authority, err = newAuthority(i.log)
	return i, err
}

// openIdentity reads the file, or makes one where there is none.
func openIdentity(path string, newID func() string) (*identity, error) {
	b, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return createIdentity(path, newID)
	}
	if err != nil {
		return nil, fmt.Errorf("the server's key: %w", err)
	}
	if info, err := os.Stat(path); err != nil {
		return nil, fmt.Errorf("the server's key: %w", err)
	} else if info.Mode().Perm()&0o077 != 0 {
		return nil, fmt.Errorf("the server's key %s may be read by others (mode %o): give it mode 600", path, info.Mode().Perm())
	}
	var f identityFile
	if err := json.Unmarshal(b, &f); err != nil {
		return nil, fmt.Errorf("the server's key %s cannot be read: %w", path, err)
	}
	if raw, err := hex.DecodeString(f.Log); err != nil || len(raw) != 8 || len(f.Seed) != ed25519.SeedSize || notation.CheckID(f.Device) != nil {
		return nil, fmt.Errorf("the server's key %s is not whole: restore it from a backup", path)
	}
	i := &identity{log: f.Log, device: f.Device, key: ed25519.NewKeyFromSeed(f.Seed)}
	if len(f.Authority) == 0 && len(f.AuthorityKey) == 0 {
		if i.authority, err = newAuthority(i.log); err != nil {
			return nil, err
		}
		return i, i.keep(path)
	}
	if i.authority, err = readAuthority(f.Authority, f.AuthorityKey); err != nil {
		return nil, fmt.Errorf("the server's key %s is not whole: %w; restore it from a backup", path, err)
	}
	return i, nil
}

func createIdentity(path string, newID func() string) (*identity, error) {
	id, err := newIdentity(newID)
	if err != nil {
		return nil, err
	}
	return id, id.keep(path)
}

func (i *identity) keep(path string) error {
	key, err := i.authority.keyBytes()
	if err != nil {
		return err
	}
	b, err := json.Marshal(identityFile{i.log, i.device, i.key.Seed(), i.authority.certificate.Raw, key})
	if err != nil {
		return fmt.Errorf("the server's key: %w", err)
	}
	if err := writeSynced(path, append(b, '\n')); err != nil {
		return fmt.Errorf("the server's key cannot be kept: %w", err)
	}
	return nil
}

// writeSynced makes a private file that is whole or not there, even after a
// power cut.
func writeSynced(path string, b []byte) error {
	temporary := path + ".new"
	f, err := os.OpenFile(temporary, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(b)
	if err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return err
	}
	if err := os.Rename(temporary, path); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(path))
}

func syncFolder(path string) error {
	dir, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(dir.Sync(), dir.Close())
}

// random bytes; crypto/rand never fails.
func random(n int) []byte {
	b := make([]byte, n)
	rand.Read(b) //nolint:errcheck // documented to never fail
	return b
}
