package proving

func (p *player) tests() {}
