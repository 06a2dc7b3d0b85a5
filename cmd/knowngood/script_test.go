package main

import (
	"encoding/json"
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"knowngood": main})
}

// TestScripts runs the scenarios under testdata/script: commands as people type
// them, over real servers and homes of their own.
//
// Beside testscript's own commands there are
//
//	ready FILE         waits for a server's ready file; sets ADDR, CODE1, LINK1, CODE2, ...
//	get VAR PATH       sets VAR from the JSON on standard output: 'get CASE 0.case'
//	lines N FILE       waits until the file has at least N lines
func TestScripts(t *testing.T) {
	t.Parallel()
	testscript.Run(t, testscript.Params{
		Dir: "../../testdata/script",
		Setup: func(env *testscript.Env) error {
			env.Setenv("KNOWNGOOD_TZ", "UTC")
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"ready": scriptReady,
			"get":   scriptGet,
			"lines": scriptLines,
		},
		UpdateScripts: os.Getenv("UPDATE_SCRIPTS") != "",
	})
}

// patience is how long a script waits for what must come.
const patience = 20 * time.Second

func scriptReady(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: ready FILE")
	}
	path := ts.MkAbs(args[0])
	for end := time.Now().Add(patience); ; time.Sleep(20 * time.Millisecond) {
		b, err := os.ReadFile(path)
		if err != nil && time.Now().Before(end) {
			continue
		}
		ts.Check(err)
		var r ready
		ts.Check(json.Unmarshal(b, &r))
		ts.Setenv("ADDR", r.Address)
		for i, s := range r.Shops {
			ts.Setenv(fmt.Sprintf("CODE%d", i+1), s.Code)
			ts.Setenv(fmt.Sprintf("SHOP%d", i+1), s.Shop)
			ts.Setenv(fmt.Sprintf("LINK%d", i+1), s.Link)
		}
		return
	}
}

func scriptGet(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: get VAR PATH")
	}
	var v any
	ts.Check(json.Unmarshal([]byte(ts.ReadFile("stdout")), &v))
	for _, step := range strings.Split(args[1], ".") {
		switch x := v.(type) {
		case map[string]any:
			v = x[step]
		case []any:
			i, err := strconv.Atoi(step)
			if err != nil || i >= len(x) {
				ts.Fatalf("%s: no item %s among %d", args[1], step, len(x))
			}
			v = x[i]
		default:
			ts.Fatalf("%s: nothing below %s", args[1], step)
		}
	}
	ts.Setenv(args[0], fmt.Sprint(v))
}

func scriptLines(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: lines N FILE")
	}
	n, err := strconv.Atoi(args[0])
	ts.Check(err)
	for end := time.Now().Add(patience); ; time.Sleep(20 * time.Millisecond) {
		b, err := os.ReadFile(ts.MkAbs(args[1]))
		switch {
		case strings.Count(string(b), "\n") >= n:
			return
		case time.Now().After(end):
			ts.Fatalf("%s has %d lines, not %d: %v", args[1], strings.Count(string(b), "\n"), n, err)
		}
	}
}
