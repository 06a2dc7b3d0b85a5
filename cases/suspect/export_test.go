package suspect

// Wide shows which hypotheses of three faults and more are looked at.
func (j *Judgement) Wide() [][]int { return j.wide }
