package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"os/exec"
	"strconv"
	"strings"
	"sync"

	"knowngood.example/cases/circuit/plain"
	"knowngood.example/cases/proving"
)

// lockstep is how many cases share a run of ngspice.
const lockstep = 64

// findSpice finds ngspice.
func findSpice() (string, error) {
	path, err := exec.LookPath("ngspice")
	if err != nil {
		return "", errors.New("ngspice is not here: install the package 'ngspice', or leave --truth out")
	}
	return path, nil
}

// spiceBatch gathers the circuits of cases that are played side by side until all
// of them wait for one, and solves those in one run.
type spiceBatch struct {
	ctx  context.Context
	path string

	mu      sync.Mutex
	playing int
	waiting []*spiceAsk
}

type spiceAsk struct {
	circuit *plain.Circuit
	volts   []float64
	err     error
	done    chan struct{}
}

func newSpiceBatch(ctx context.Context, path string, playing int) *spiceBatch {
	return &spiceBatch{ctx: ctx, path: path, playing: playing}
}

// solve waits until all that play wait.
func (b *spiceBatch) solve(c *plain.Circuit) ([]float64, error) {
	ask := &spiceAsk{circuit: c, done: make(chan struct{})}
	b.mu.Lock()
	b.waiting = append(b.waiting, ask)
	b.runWhenFull()
	b.mu.Unlock()
	<-ask.done
	return ask.volts, ask.err
}

// leave says that one of those that play is at its end.
func (b *spiceBatch) leave() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.playing--
	b.runWhenFull()
}

// runWhenFull solves what waits once nobody else plays. All others wait, so the lock
// is kept meanwhile.
func (b *spiceBatch) runWhenFull() {
	if len(b.waiting) == 0 || len(b.waiting) < b.playing {
		return
	}
	all := b.waiting
	b.waiting = nil
	if err := b.run(all); err != nil {
		for _, ask := range all { // one that does not settle must not take the others along
			ask.err = b.run([]*spiceAsk{ask})
		}
	}
	for _, ask := range all {
		close(ask.done)
	}
}

// run solves circuits side by side.
func (b *spiceBatch) run(all []*spiceAsk) error {
	circuits := make([]*plain.Circuit, len(all))
	for k, ask := range all {
		circuits[k] = ask.circuit
	}
	one, at := proving.Together(circuits)
	cmd := exec.CommandContext(b.ctx, b.path, "-b", "/dev/stdin")
	cmd.Stdin = strings.NewReader(one.Deck())
	var said bytes.Buffer
	cmd.Stderr = &said
	out, err := cmd.Output()
	if err != nil {
		return fmt.Errorf("ngspice: %w: %s", err, bytes.TrimSpace(said.Bytes()))
	}
	volts := make([]float64, one.Nodes)
	for k := range volts {
		volts[k] = math.NaN()
	}
	volts[0] = 0
	lines := bufio.NewScanner(bytes.NewReader(out))
	found := 0
	for lines.Scan() {
		name, value, ok := strings.Cut(strings.ToLower(lines.Text()), " = ")
		n, isNode := strings.CutPrefix(strings.TrimSpace(name), "v(")
		k, bad := strconv.Atoi(strings.TrimSuffix(n, ")"))
		v, worse := strconv.ParseFloat(strings.TrimSpace(value), 64)
		if !ok || !isNode || bad != nil || worse != nil || k <= 0 || k >= one.Nodes {
			continue
		}
		volts[k] = v
		found++
	}
	if found == 0 {
		return fmt.Errorf("ngspice found no voltages: %s", bytes.TrimSpace(said.Bytes()))
	}
	for k, ask := range all {
		ask.volts = make([]float64, circuits[k].Nodes)
		copy(ask.volts[1:], volts[at[k]+1:at[k]+circuits[k].Nodes])
		ask.err = nil
	}
	return nil
}
