package circuit

import "slices"

// taker takes networks apart, one after the other: a judgement does so for thousands.
type taker struct {
	ends  [][2]int32
	at    [][]int32 // of each node but the posts its slots, no two of which lead to the same
	s     *shape
	ops   []operation
	nums  []int32
	look  []int // nodes that may be in series, or end nowhere
	graph graph
	// Slots of the core by which way they work, as in a shape.
	rises, falls, either []int32
}

// takeApart works out the shape of a network of n nodes with slots between the ends,
// as seen from red and black, for bounds or for draws.
func (t *taker) takeApart(n int, ends [][2]int32, red, black int, bounds bool) *shape {
	t.ends, t.ops, t.nums, t.s = append(t.ends[:0], ends...), t.ops[:0], t.nums[:0], &shape{red: red, black: black}
	for len(t.at) < n {
		t.at = append(t.at, nil)
	}
	for k := range n {
		t.at[k] = t.at[k][:0]
	}
	for i := range ends {
		t.join(int32(i))
	}
	for k := n - 1; k > plus; k-- {
		t.look = append(t.look, k)
	}
	t.together()
	for t.undecided(n) > maxEither && t.star(n) {
		t.together()
	}
	t.s.core = len(t.ops)
	t.sort(n)
	if bounds {
		t.signs(n)
	}
	slots := slices.Concat(t.rises, t.falls, t.either)
	rises, decided := len(t.rises), len(t.rises)+len(t.falls)
	t.s.rises, t.s.falls, t.s.either = slots[:rises], slots[rises:decided], slots[decided:]
	for t.star(n) {
		t.together()
	}
	t.s.ops, t.s.numbers, t.s.slots = slices.Clone(t.ops), slices.Clone(t.nums), len(t.ends)
	t.s.redPlus, t.s.redMinus = t.between(red, plus), t.between(red, minus)
	t.s.blackPlus, t.s.blackMinus = t.between(black, plus), t.between(black, minus)
	t.s.across = t.between(red, black)
	return t.s
}

// kept reports whether the node is one that is asked about.
func (t *taker) kept(k int) bool { return k <= plus || k == t.s.red || k == t.s.black }

// other end of a slot.
func (t *taker) other(slot int32, k int) int {
	return int(t.ends[slot][0]) + int(t.ends[slot][1]) - k
}

// join puts a slot between its ends, and together with one that lies beside it.
func (t *taker) join(slot int32) {
	a, b := int(t.ends[slot][0]), int(t.ends[slot][1])
	if a == b || a+b == plus+minus { // between the posts it moves nothing
		return
	}
	if beside := t.between(a, b); beside >= 0 {
		t.drop(beside)
		t.ops = append(t.ops, operation{node: -1, n: 2, from: int32(len(t.nums))})
		t.nums = append(t.nums, beside, slot, int32(len(t.ends)))
		slot = int32(len(t.ends))
		t.ends = append(t.ends, t.ends[beside])
	}
	for _, k := range [2]int{a, b} {
		if k > plus {
			t.at[k] = append(t.at[k], slot)
		}
	}
}

func (t *taker) drop(slot int32) {
	for _, k := range t.ends[slot] {
		for i, s := range t.at[k] {
			if s == slot {
				t.at[k] = append(t.at[k][:i], t.at[k][i+1:]...)
				break
			}
		}
	}
}

// together puts together what is in series or side by side, and leaves out what ends
// nowhere.
func (t *taker) together() {
	for len(t.look) > 0 {
		k := t.look[len(t.look)-1]
		t.look = t.look[:len(t.look)-1]
		if !t.kept(k) && len(t.at[k]) > 0 && len(t.at[k]) <= 2 {
			t.remove(k)
		}
	}
}

// remove takes a node out.
func (t *taker) remove(k int) {
	n, at := len(t.at[k]), len(t.nums)
	t.ops = append(t.ops, operation{int32(k), int32(n), int32(at)})
	t.nums = append(t.nums, t.at[k]...)
	for _, s := range t.at[k] {
		far := t.other(s, k)
		t.nums, t.look = append(t.nums, int32(far)), append(t.look, far)
	}
	for len(t.at[k]) > 0 {
		t.drop(t.at[k][0])
	}
	far, first := t.nums[at+n:at+2*n], int32(len(t.ends))
	for j := range far {
		for i := range j {
			t.nums = append(t.nums, int32(len(t.ends)))
			t.ends = append(t.ends, [2]int32{far[i], far[j]})
		}
	}
	for slot := first; slot < first+int32(n*(n-1)/2); slot++ {
		t.join(slot)
	}
}

// star takes out the node with the fewest neighbours; false when none is left.
func (t *taker) star(n int) bool {
	best := -1
	for k, at := range t.at[:n] {
		if !t.kept(k) && len(at) > 0 && (best < 0 || len(at) < len(t.at[best])) {
			best = k
		}
	}
	if best < 0 {
		return false
	}
	t.remove(best)
	return true
}

// undecided is of how many slots nobody knows which way they work.
func (t *taker) undecided(nodes int) int {
	n := 0
	for k := plus + 1; k < nodes; k++ {
		for _, slot := range t.at[k] {
			if far := t.other(slot, k); far < k && (far > plus || !t.s.onePost()) {
				n++
			}
		}
	}
	return n
}

// sort says of the slots of the core which way they work.
func (t *taker) sort(nodes int) {
	t.rises, t.falls, t.either = t.rises[:0], t.falls[:0], t.either[:0]
	for k := plus + 1; k < nodes; k++ {
		for _, slot := range t.at[k] {
			switch far := t.other(slot, k); {
			case far > k:
			case far > plus || !t.s.onePost():
				t.either = append(t.either, slot)
			case (far == plus) == (t.s.black <= plus):
				t.rises = append(t.rises, slot)
			default:
				t.falls = append(t.falls, slot)
			}
		}
	}
}

func (t *taker) between(a, b int) int32 {
	if a == b || a <= plus && b <= plus {
		return -1
	}
	if a <= plus || b > plus && len(t.at[b]) < len(t.at[a]) {
		a, b = b, a // posts have many
	}
	for _, slot := range t.at[a] {
		if t.other(slot, a) == b {
			return slot
		}
	}
	return -1
}
