package circuit

import "fmt"

func (o *Observation) Dbg() {
	m := o.model
	for s := range m.stretches {
		st := &m.stretches[s]
		fmt.Printf("      s%d %d-%d kind %d pos %d %v els %v load %d\n", s, st.a, st.b, st.kind, st.position, st.ohms, st.elements, m.load[s])
	}
	fmt.Println("      loads", m.loads, m.loadsUnder(nil), "loops", m.loops, m.bridges, o.setup.Posts)
}
