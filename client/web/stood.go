package web

import (
	"maps"
	"slices"
	"sync"

	"knowngood.example/cases"
	"knowngood.example/cases/brief"
	"knowngood.example/cases/suspect"
)

// mostStood are as many cases as are looked at again and again at a time; a case beyond
// them is judged anew.
const mostStood = 16

// stood is what a case comes to as it stands. It is worked out when it is first asked for,
// and only while a desk shows the case, which lets one ask at a time.
type stood struct {
	of     *cases.Case
	head   uint64
	judged *cases.Judged
	// docs are by the last part of their address, for who knows names.
	docs  map[string]*brief.Document
	names cases.Names
}

// standing keeps it for as long as the case stands so. Who may see a case is asked at the
// desk each time, before; nothing is found here but by the very case that it showed.
type standing struct {
	mu sync.Mutex
	// recent, the one looked at last first.
	recent []*stood
}

func (k *standing) of(c *Case) *stood {
	k.mu.Lock()
	defer k.mu.Unlock()
	at := slices.IndexFunc(k.recent, func(s *stood) bool { return s.of == c.Case })
	s := &stood{of: c.Case, head: c.Head(), judged: c.Judge(c.Table)}
	if at >= 0 {
		if old := k.recent[at]; old.head == s.head && old.judged.Table == c.Table {
			s = old
		}
		k.recent = slices.Delete(k.recent, at, at+1)
	}
	// The case may have been folded anew since, and what was is not asked for again.
	k.recent = slices.DeleteFunc(k.recent, func(old *stood) bool { return old.of.Stream == c.Stream })
	k.recent = slices.Insert(k.recent, 0, s)
	k.recent = k.recent[:min(len(k.recent), mostStood)]
	return s
}

// document of the case for somebody; names differ by who asks.
func (s *stood) document(name string, who cases.Names) *brief.Document {
	if !maps.Equal(s.names, who) {
		s.names, s.docs = maps.Clone(who), nil
	}
	if s.docs == nil {
		s.docs = map[string]*brief.Document{}
	}
	if s.docs[name] == nil {
		s.docs[name] = documents()[name](s.judged, who)
	}
	return s.docs[name]
}

// lines are cases at a glance, kept likewise, for the board of a home.
type lines struct {
	mu sync.Mutex
	by map[string]keptLine
}

type keptLine struct {
	of   *cases.Case
	line brief.BoardLine
}

// mostLines are more than a home has open.
const mostLines = 256

func (k *lines) of(c *cases.Case, table *suspect.Table) brief.BoardLine {
	k.mu.Lock()
	kept := k.by[c.Stream]
	k.mu.Unlock()
	if kept.of == c && kept.line.Entries == c.Head() {
		return kept.line
	}
	kept = keptLine{c, brief.Board(c.Judge(table))}
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.by == nil || len(k.by) >= mostLines {
		k.by = map[string]keptLine{}
	}
	k.by[c.Stream] = kept
	return kept.line
}
