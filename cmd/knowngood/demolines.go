package main

// demoPerson is somebody invented, and their part in the case.
type demoPerson struct{ name, shop, part string }

func demoPeople() []demoPerson {
	return []demoPerson{
		{"Mara", "Tin Kettle Garage", "the shop that is stuck with the vehicle"},
		{"Joss", "Quarrel Hill Motors", "a shop that worked on it before"},
		{"Ines", "Lantern Lane Diagnostics", "the specialist whom that shop called"},
	}
}

// demoLine is a command as somebody types it. A label in braces stands for the
// number of the entry that was given that label.
type demoLine struct {
	who, label string
	args       []string
}

// demoLines are an invented case: a cooling fan that does not run. Its ground
// splice is corroded and passes a meter's current, not the fan's.
func demoLines() []demoLine {
	l := func(who, label string, args ...string) demoLine { return demoLine{who, label, args} }
	return []demoLine{
		l("Mara", "", "open", "cooling fan does not run in slow traffic, gauge climbs", "--make", "Quillon", "--model", "Tarn", "--year", "2011",
			"--engine", "1.6 petrol", "--odometer", "182000 km", "--onset", "3 weeks ago", "--just-before", "a bumper was replaced",
			"--frequency", "every time in traffic", "--invented"),
		l("Mara", "", "concern", "saw it, running, fan stands still, failed 3 of 3"),
		l("Mara", "", "codes", "P0480 stored from engine module"),
		l("Mara", "splice", "believe", "assume splice S4 is good, about component splice S4"),
		l("Mara", "", "fit", "new temperature switch in, guess, 38 EUR, old thrown away, because {splice}"),
		l("Mara", "relays", "believe", "they say the horn relay is the same type as the fan relay"),
		l("Mara", "", "fit", "borrowed fan relay in, from horn relay socket, guess, because {relays}"),
		l("Mara", "", "concern", "acting up, running"),
		l("Mara", "unplugged", "read", "12.4 V at fan.C1-2 to batt-, fan motor unplugged, key on"),
		l("Mara", "feed", "believe", "measured feed and ground of the fan are good, because {unplugged}"),
		l("Mara", "", "approve", "customer approved 400 EUR by phone"),
		l("Mara", "", "spent", "90 min fitting parts, charge 90 EUR"),
		l("Mara", "", "handoff", "Quarrel Hill Motors", "--question", "what did you do on it before it came here?"),

		l("Joss", "", "takeup", "--case", "{case}"),
		l("Joss", "", "fit", "new fan motor in, guess, 240 EUR, old thrown away", "--before-opening", "--when", "10 days ago"),
		l("Joss", "", "worked", "left headlamp, bumper and bracket replaced", "--before-opening", "--when", "4 weeks ago"),
		l("Joss", "", "handback", "--give", "--found", "a fan motor was fitted on a guess; the concern stayed"),

		l("Mara", "handoff", "handoff", "Lantern Lane Diagnostics", "--question", "why does the fan not run, and what do we tell the customer?",
			"--minutes", "120", "--may-cut", "yes"),

		l("Ines", "", "takeup", "--case", "{case}"),
		l("Ines", "", "meter", "1 checked on battery posts, 12.6 V, pass"),
		l("Ines", "", "draw", "batt+ > fuse F7 20A > relay K2 30/87 > fan.C1-2 > fan motor 11A > fan.C1-1 > splice S4 > batt-", "--basis", "traced",
			"--pin", "fan.C1-2, red, behind the radiator", "--pin", "fan.C1-1, brown, behind the radiator", "--pin", "S4.in, brown, under the left headlamp"),
		l("Ines", "arrived", "concern", "saw it, running, fan stands still, failed 2 of 2"),
		l("Ines", "", "read", "12.35 V at fan.C1-2 to batt-, key on, commanded on, supply 12.4 V, on meter 1, should be over 11.5 V, pass, covers fan feed"),
		l("Ines", "drop", "read", "10.6 V drop at S4.in to S4.out, key on, commanded on, supply 12.4 V, at 1.4 A, on meter 1, should be under 0.2 V, fail, covers splice S4"),
		l("Ines", "", "temp", "jumper from fan.C1-1 to batt-, fused 15 A"),
		l("Ines", "", "concern", "gone away, fan runs at full speed"),
		l("Ines", "", "temp", "jumper off"),
		l("Ines", "", "concern", "acting up, running, fan stands still"),
		l("Ines", "bypass", "test", "bypassed splice S4 with a fused jumper, running, fan ran at full speed, concern went away and came back, covers splice S4, fail, because {drop}"),
		l("Ines", "seen", "seen", "green corrosion in splice S4, looks bad"),
		l("Ines", "", "settle", "{splice} not true, because {drop}"),
		l("Ines", "", "settle", "{feed} not true, because {drop}"),
		l("Ines", "repair", "repair", "splice S4: cut out, crimped anew and sealed, cost 9 EUR, because {bypass}"),
		l("Ines", "after", "read", "0.04 V drop at S4.in to S4.out, key on, commanded on, supply 12.4 V, at 11.2 A, on meter 1, should be under 0.2 V, pass, covers splice S4"),
		l("Ines", "check", "checked", "repair {repair}, rescanned, concern tried, gone, running, before {drop}, after {after}, pass"),
		l("Ines", "", "seen", "left front brake hose chafed, looks bad, outside the concern"),
		l("Ines", "", "spent", "75 min finding and mending the splice, charge 120 EUR"),
		l("Ines", "", "handback", "--give", "--found", "splice S4 in the fan's ground corroded: enough for a meter, not for the fan", "--cause", "splice S4",
			"--mode", "high resistance", "--proof", "10.6 V drop with the fan drawing current; a fused temporary ground made the fan run, off again it stood still",
			"--because", "{drop},{bypass},{check}", "--old-parts", "the cut-out splice is in a bag on the passenger seat",
			"--left-open", "horn relay is still in the fan relay's socket", "--not-done", "second fan speed not looked at"),
	}
}
