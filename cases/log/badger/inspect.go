package badger

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	badgerdb "github.com/dgraph-io/badger/v4"
	"github.com/dgraph-io/badger/v4/fb"
	"github.com/dgraph-io/badger/v4/options"
	"github.com/dgraph-io/badger/v4/pb"
	"github.com/dgraph-io/badger/v4/table"
	"github.com/dgraph-io/badger/v4/y"
	"golang.org/x/sync/errgroup"
	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/log"
)

// inspect looks at the files before Badger does. Badger ends the process over a
// damaged table, and deletes tables that its manifest does not name.
func inspect(dir string, o badgerdb.Options) (err error) {
	defer damaged(&err)
	manifest, err := os.Open(filepath.Join(dir, badgerdb.ManifestFilename))
	if errors.Is(err, fs.ErrNotExist) {
		for _, pattern := range []string{"*.sst", "*.mem"} {
			if found, _ := filepath.Glob(filepath.Join(dir, pattern)); len(found) > 0 {
				return fmt.Errorf("%w: %s is missing, but there is %s; restore from a backup", log.ErrDamaged, badgerdb.ManifestFilename, found[0])
			}
		}
		return nil
	} else if err != nil {
		return err
	}
	defer manifest.Close()
	listed, end, err := badgerdb.ReplayManifestFile(manifest, 0, o)
	if err != nil {
		return fmt.Errorf("%w: %s: %w; restore from a backup", log.ErrDamaged, manifest.Name(), err)
	}
	if err := inspectStop(dir, manifest, end, listed); err != nil {
		return err
	}
	var group errgroup.Group
	group.SetLimit(runtime.GOMAXPROCS(0))
	for id, listing := range listed.Tables {
		group.Go(func() error {
			path := table.NewFilename(id, dir)
			if err := inspectTable(path, listing.Compression); err != nil {
				return fmt.Errorf("%w: table %s: %w; restore from a backup", log.ErrDamaged, path, err)
			}
			return nil
		})
	}
	return group.Wait()
}

// inspectStop refuses what only an interrupted run can leave, a manifest cut
// short or a table that it does not name, when the last run was not interrupted:
// then it left no write-ahead log either, and nothing else holds what is in them.
func inspectStop(dir string, manifest *os.File, end int64, listed badgerdb.Manifest) error {
	if logs, _ := filepath.Glob(filepath.Join(dir, "*.mem")); len(logs) > 0 {
		return nil
	}
	info, err := manifest.Stat()
	if err != nil {
		return err
	}
	if end != info.Size() {
		return fmt.Errorf("%w: %s is cut short at byte %d of %d; restore from a backup", log.ErrDamaged, manifest.Name(), end, info.Size())
	}
	tables, _ := filepath.Glob(filepath.Join(dir, "*.sst"))
	for _, path := range tables {
		id, ok := table.ParseFileID(filepath.Base(path))
		if _, known := listed.Tables[id]; !ok || !known {
			return fmt.Errorf("%w: %s does not name the table %s; restore from a backup", log.ErrDamaged, manifest.Name(), path)
		}
	}
	return nil
}

// inspectTable checks every checksum of a table of the layout that Badger 4
// writes: blocks, index, and a footer of the index's length (4 bytes), its
// checksum, and the checksum's length (4 bytes), all numbers big endian.
func inspectTable(path string, compression options.CompressionType) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("cannot be read: %v", p)
		}
	}()
	if compression != options.None {
		return fmt.Errorf("is compressed in way %d, and none was", compression)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	rest, footer, err := cutCounted(b)
	if err != nil {
		return fmt.Errorf("footer: %w", err)
	}
	rest, index, err := cutCounted(rest)
	if err != nil {
		return fmt.Errorf("index: %w", err)
	}
	if err := checkSum(index, footer); err != nil {
		return fmt.Errorf("index: %w", err)
	}
	// The index is as it was written, so it can be followed.
	blocks := fb.GetRootAsTableIndex(index, 0)
	var at fb.BlockOffset
	for i := range blocks.OffsetsLength() {
		if !blocks.Offsets(&at, i) {
			return fmt.Errorf("block %d is not in the index", i)
		}
		from, to := uint64(at.Offset()), uint64(at.Offset())+uint64(at.Len())
		if to > uint64(len(rest)) {
			return fmt.Errorf("block %d lies at %d to %d of %d bytes", i, from, to, len(rest))
		}
		data, sum, err := cutCounted(rest[from:to])
		if err == nil {
			err = checkSum(data, sum)
		}
		if err != nil {
			return fmt.Errorf("block %d at byte %d: %w", i, from, err)
		}
	}
	return nil
}

// cutCounted splits bytes from the end of b, where their number stands last.
func cutCounted(b []byte) (rest, last []byte, err error) {
	if len(b) < 4 {
		return nil, nil, errors.New("cut short")
	}
	n, b := binary.BigEndian.Uint32(b[len(b)-4:]), b[:len(b)-4]
	if uint64(n) > uint64(len(b)) {
		return nil, nil, fmt.Errorf("of %d bytes, %d are there", n, len(b))
	}
	return b[:len(b)-int(n)], b[len(b)-int(n):], nil
}

func checkSum(data, sum []byte) error {
	var want pb.Checksum
	if err := proto.Unmarshal(sum, &want); err != nil {
		return fmt.Errorf("its checksum cannot be read: %w", err)
	}
	return y.VerifyChecksum(data, &want)
}

// foundSuffix names the directory that keeps the files as they were found.
const foundSuffix = ".found"

// keepFound puts the files beside dir before Badger opens it, since Badger cuts
// a write-ahead log where it stops making sense and deletes tables it does not
// miss. Tables never change, so a second name is enough for them. What an
// earlier open that failed has kept is left alone: it is nearer to the truth.
func keepFound(dir string) error {
	found := dir + foundSuffix
	if _, err := os.Lstat(found); err == nil {
		return nil
	}
	entries, err := os.ReadDir(dir)
	if err != nil || len(entries) == 0 {
		return err
	}
	unfinished := found + ".new"
	if err := errors.Join(os.RemoveAll(unfinished), os.Mkdir(unfinished, 0o700)); err != nil {
		return err
	}
	for _, e := range entries {
		from, to := filepath.Join(dir, e.Name()), filepath.Join(unfinished, e.Name())
		switch {
		case strings.HasSuffix(e.Name(), ".sst"):
			if err = os.Link(from, to); err != nil {
				err = copyFile(from, to) // not every file system has second names
			}
		case strings.HasSuffix(e.Name(), ".mem"), strings.HasSuffix(e.Name(), ".vlog"), e.Name() == badgerdb.ManifestFilename, e.Name() == badgerdb.KeyRegistryFileName:
			err = copyFile(from, to)
		}
		if err != nil {
			return err
		}
	}
	return os.Rename(unfinished, found)
}

// dropUnbegun removes write-ahead logs of no bytes: a run that was killed had made the
// file and not yet given it its size, so that nothing was ever written to it, and
// Badger refuses to open over it. One that lost its bytes leaves the same; that entries
// are missing then is told by the sum and by the checkpoint.
func dropUnbegun(dir string) error {
	for _, pattern := range []string{"*.mem", "*.vlog"} {
		files, err := filepath.Glob(filepath.Join(dir, pattern))
		if err != nil {
			return err
		}
		for _, path := range files {
			info, err := os.Lstat(path)
			if err == nil && info.Mode().IsRegular() && info.Size() == 0 {
				err = os.Remove(path)
			}
			if err != nil {
				return err
			}
		}
	}
	return nil
}

// copyFile leaves runs of zeros as holes: a write-ahead log is mostly that.
func copyFile(from, to string) (err error) {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, out.Close()) }()
	const page = 64 << 10
	b := make([]byte, page)
	zero := make([]byte, page)
	for at := int64(0); ; at += page {
		n, err := io.ReadFull(in, b)
		if n > 0 && string(b[:n]) != string(zero[:n]) {
			if _, err := out.WriteAt(b[:n], at); err != nil {
				return err
			}
		}
		if err == io.EOF || err == io.ErrUnexpectedEOF {
			return out.Truncate(at + int64(n))
		} else if err != nil {
			return err
		}
	}
}
