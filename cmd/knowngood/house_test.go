package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const module = "knowngood.example"

// top is the repository's folder, seen from this package.
var top = filepath.Join("..", "..")

// sources yields the hand-written Go files, by path from the top.
func sources(t *testing.T, yield func(path string, file *ast.File)) {
	t.Helper()
	fset := token.NewFileSet()
	require.NoError(t, filepath.WalkDir(top, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && strings.HasPrefix(d.Name(), ".") && path != top {
			return filepath.SkipDir
		}
		if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, ".pb.go") {
			return nil
		}
		file, err := parser.ParseFile(fset, path, nil, parser.ParseComments)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(top, path)
		yield(filepath.ToSlash(rel), file)
		return err
	}))
}

// core reports whether a folder belongs to the pure core: all of cases but the
// log and its engines.
func core(dir string) bool {
	return (dir == "cases" || strings.HasPrefix(dir, "cases/")) && dir != "cases/log" && !strings.HasPrefix(dir, "cases/log/")
}

// TestImportsPointOneWay holds the direction of imports: proto, then cases, then
// server and client, then cmd.
func TestImportsPointOneWay(t *testing.T) {
	layer := func(dir string) string { return strings.SplitN(dir, "/", 2)[0] }
	may := map[string][]string{
		"proto":  {"proto"},
		"cases":  {"proto", "cases"},
		"server": {"proto", "cases", "server"},
		"client": {"proto", "cases", "client"},
		"cmd":    {"proto", "cases", "server", "client", "cmd"},
	}
	n := 0
	sources(t, func(path string, file *ast.File) {
		n++
		for _, imp := range file.Imports {
			p, err := strconv.Unquote(imp.Path.Value)
			require.NoError(t, err)
			to, ours := strings.CutPrefix(p, module+"/")
			if ours && !slices.Contains(may[layer(path)], layer(to)) {
				t.Errorf("%s imports %s: imports point from cmd to server and client, to cases, to proto", path, p)
			}
		}
	})
	require.Greater(t, n, 20, "hardly any source was found: is the test looking in the right folder?")
}

// TestSecondSolver: what judges never leans on the solver that it is held against;
// only tests, and the command that measures, import it.
func TestSecondSolver(t *testing.T) {
	const solver = "cases/circuit/plain"
	tests := 0
	sources(t, func(path string, file *ast.File) {
		for _, imp := range file.Imports {
			p, _ := strconv.Unquote(imp.Path.Value)
			isTest, measures := strings.HasSuffix(path, "_test.go"), path == "cmd/knowngood/bench.go" || path == "cmd/knowngood/spice.go"
			switch {
			case p == module+"/cases/proving" && !isTest && !measures:
				t.Errorf("%s imports %s, which is for bench", path, p)
			case p != module+"/"+solver:
			case isTest:
				tests++
			case !measures && !strings.HasPrefix(path, "cases/proving/"):
				t.Errorf("%s imports %s, which is for tests and for bench", path, solver)
			}
		}
	})
	require.NotZero(t, tests, "nothing is held against the second solver")
}

// TestCoreIsPure: the core imports no os, starts no goroutine and reads no clock,
// so that the same judgement comes out everywhere.
func TestCoreIsPure(t *testing.T) {
	clock := []string{"Now", "Since", "Until", "After", "AfterFunc", "Tick", "NewTimer", "NewTicker", "Sleep"}
	n := 0
	sources(t, func(path string, file *ast.File) {
		if strings.HasSuffix(path, "_test.go") || !core(filepath.ToSlash(filepath.Dir(path))) {
			return
		}
		n++
		for _, imp := range file.Imports {
			if p, _ := strconv.Unquote(imp.Path.Value); p == "os" || strings.HasPrefix(p, "os/") || p == "syscall" {
				t.Errorf("%s imports %s", path, p)
			}
		}
		ast.Inspect(file, func(node ast.Node) bool {
			switch x := node.(type) {
			case *ast.GoStmt:
				t.Errorf("%s starts a goroutine", path)
			case *ast.SelectorExpr:
				if id, ok := x.X.(*ast.Ident); ok && id.Name == "time" && slices.Contains(clock, x.Sel.Name) {
					t.Errorf("%s reads the clock: time.%s", path, x.Sel.Name)
				}
			}
			return true
		})
	})
	require.Greater(t, n, 10)
}

// TestCoreReaches: transitively, the core reaches no network and no database.
func TestCoreReaches(t *testing.T) {
	if _, err := exec.LookPath("go"); err != nil {
		t.Skip("no go on the path to list packages with")
	}
	for _, dir := range coreFolders(t) {
		cmd := exec.Command("go", "list", "-deps", "./"+dir)
		cmd.Dir = top
		out, err := cmd.Output()
		require.NoError(t, err, dir)
		for dep := range strings.Lines(string(out)) {
			dep = strings.TrimSpace(dep)
			for _, bad := range []string{"net", "google.golang.org/grpc", "github.com/dgraph-io/badger/v4", "github.com/google/uuid", "os/exec"} {
				if dep == bad || strings.HasPrefix(dep, bad+"/") && bad != "net" || dep == "net/http" {
					t.Errorf("%s reaches %s", dir, dep)
				}
			}
		}
	}
}

func coreFolders(t *testing.T) []string {
	t.Helper()
	seen := map[string]bool{}
	sources(t, func(path string, _ *ast.File) {
		if dir := filepath.ToSlash(filepath.Dir(path)); core(dir) && !strings.HasSuffix(path, "_test.go") {
			seen[dir] = true
		}
	})
	var dirs []string
	for d := range seen {
		dirs = append(dirs, d)
	}
	require.NotEmpty(t, dirs)
	slices.Sort(dirs)
	return dirs
}

// TestNoInit: nothing happens because a package was imported.
func TestNoInit(t *testing.T) {
	sources(t, func(path string, file *ast.File) {
		for _, d := range file.Decls {
			if f, ok := d.(*ast.FuncDecl); ok && f.Recv == nil && f.Name.Name == "init" {
				t.Errorf("%s has an init function", path)
			}
		}
	})
}

// TestTopLevel: a reader sees the architecture from the folders.
func TestTopLevel(t *testing.T) {
	allowed := []string{"cmd", "proto", "server", "client", "cases", "testdata", "README.md", "DEVELOPERS.md", "go.mod", "go.sum", "buf.yaml", "LICENSE"}
	entries, err := os.ReadDir(top)
	require.NoError(t, err)
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), ".") && !slices.Contains(allowed, e.Name()) && e.Name() != "knowngood" {
			t.Errorf("%s has no place at the top level; there is %s", e.Name(), strings.Join(allowed, ", "))
		}
	}
}

// TestFileSizes: most files hold one noun and stay under 400 lines; none passes
// 500.
func TestFileSizes(t *testing.T) {
	long := 0
	sources(t, func(path string, _ *ast.File) {
		if strings.HasSuffix(path, "_test.go") {
			return
		}
		b, err := os.ReadFile(filepath.Join(top, filepath.FromSlash(path)))
		require.NoError(t, err)
		switch n := strings.Count(string(b), "\n"); {
		case n > 500:
			t.Errorf("%s has %d lines: more than one noun in it?", path, n)
		case n > 400:
			long++
		}
	})
	require.LessOrEqual(t, long, 8, "more than a few files have over 400 lines")
}

// TestNothingLeftOpen: no note of unfinished work and no path of a machine in
// what is committed.
func TestNothingLeftOpen(t *testing.T) {
	open := regexp.MustCompile(`\b(` + "TO" + `DO|` + "FIX" + `ME)\b`)
	machine := regexp.MustCompile(`(^|[\s"'=(])/(work|root|home/\w+|Users)/`)
	require.NoError(t, filepath.WalkDir(top, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if d.Name() == ".git" || d.Name() == ".cache" {
				return filepath.SkipDir
			}
			return nil
		}
		info, err := d.Info()
		if err != nil || info.Size() > 1<<20 || strings.HasSuffix(path, "go.sum") {
			return err
		}
		b, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		for i, line := range strings.Split(string(b), "\n") {
			if strings.HasSuffix(path, ".go") && open.MatchString(line) {
				t.Errorf("%s:%d: %s", path, i+1, line)
			}
			if machine.MatchString(line) {
				t.Errorf("%s:%d names a path of a machine: %s", path, i+1, line)
			}
		}
		return nil
	}))
}

// TestModuleVersions: Badger before 4.9.6 lost data; go.mod must not slip back.
func TestModuleVersions(t *testing.T) {
	b, err := os.ReadFile(filepath.Join(top, "go.mod"))
	require.NoError(t, err)
	for mod, version := range map[string]string{
		"github.com/dgraph-io/badger/v4": "v4.9.6", "google.golang.org/grpc": "v1.85.0", "google.golang.org/protobuf": "v1.36.12",
	} {
		require.Contains(t, string(b), fmt.Sprintf("%s %s", mod, version))
	}
}
