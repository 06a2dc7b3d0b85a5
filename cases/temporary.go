package cases

import (
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func (s *State) temporaryOn(step *Step, t *eventv1.TemporaryOn) {
	s.left(step.ID, &Temporary{On: step, Kind: t.GetTemporary(), What: t.GetWhat(), Where: t.GetWhere(), Undo: t.GetUndo()})
	for _, name := range t.GetWhere() {
		c, known := s.Components[s.Key(name)]
		switch t.GetTemporary() {
		case eventv1.TemporaryKind_TEMPORARY_KIND_PIERCED, eventv1.TemporaryKind_TEMPORARY_KIND_WIRE_CUT:
			s.component(name, step).begin(step, "pierced or cut")
		case eventv1.TemporaryKind_TEMPORARY_KIND_UNPLUGGED, eventv1.TemporaryKind_TEMPORARY_KIND_FUSE_OUT:
			s.component(name, step).unplugged(step)
		default:
			if known {
				c.Steps = append(c.Steps, step)
			}
		}
	}
}

func (s *State) temporaryOff(step *Step, id string) {
	t := s.on[id]
	if t == nil || t.Off != nil {
		return
	}
	t.Off = step
	if t.Kind == eventv1.TemporaryKind_TEMPORARY_KIND_UNPLUGGED {
		for _, name := range t.Where {
			s.component(name, step).unplugged(step)
		}
	}
}

// left lists a change that stays on the vehicle until the id is ended.
func (s *State) left(id string, t *Temporary) {
	s.Temporaries = append(s.Temporaries, t)
	s.on[id] = t
}

// filled ends what was listed as taken out with nothing in its place.
func (s *State) filled(c *Component, step *Step) {
	if c.out != nil && c.out.Off == nil {
		c.out.Off = step
	}
	c.out = nil
}
