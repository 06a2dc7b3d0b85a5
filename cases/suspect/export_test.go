package suspect

// Wide shows which hypotheses of three faults and more are looked at.
func (j *Judgement) Wide() [][]int { return j.wide }

// Besides is the share of the gain that is over all that is wrong.
const Besides = besides

// Faults of the problem.
func (j *Judgement) Faults() []Fault { return j.faults }

// ClassesOf the faults to the n-th piece of evidence.
func (j *Judgement) ClassesOf(n int, faults []int) (classes [3]int) {
	for k, i := range faults {
		classes[k] = j.classes[n].dense[i]
	}
	return classes
}

// WeighedAlone and WeighedTogether are the log likelihood of readings under faults; of two,
// whether they were weighed to the end.
func (j *Judgement) WeighedAlone(i int) float64 { return j.ofOne(i) }

func (j *Judgement) WeighedTogether(i, k int) (float64, bool) {
	d := &j.drawn
	w := d.two[min(d.group[i], d.group[k])*len(d.like)+max(d.group[i], d.group[k])]
	return j.ofTwo(i, k), w != nil && w.settled
}
