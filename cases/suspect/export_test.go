package suspect

// Triples shows how many triples are looked at.
func (j *Judgement) Triples() [][3]int { return j.triples }
