// Package quick turns one line, as it would be said aloud in the bay, into the
// content of an event:
//
//	12.31V at bcm.C3-14 to batt- key-on should be 12..12.9 # brown wire
//	red fan two, black battery, twelve three, running
//	new fan in, old kept, guess
//
// Nothing is guessed and nothing is dropped. Every word goes into a field, or
// stands in the field that keeps the line as it was typed, or the line is
// refused with the column and what would have been understood there. What was
// understood is shown back as a line that means the same.
//
// # Words
//
// Words are separated by spaces. A comma, semicolon or colon ends a part of the
// line; a comma between digits is a decimal comma, a colon inside a word (14:30)
// belongs to it. '#' at the start of a word begins the note, which runs to the
// end. A full stop or exclamation mark at the end is left off. Upper and lower
// case are the same but in units and in what is kept. 'key-on' is 'key on'.
// Phrases never reach over a comma. Columns count characters from 1.
//
// In what follows, [x] may be there, x|y is one of both, capitals are names or
// texts, and parts may come in any order unless shown otherwise.
//
// # Names
//
// A NAME is of a point or component. It runs to the next comma or to where
// something else begins: to, at, running, pass, because and so on. Three things
// reach further: a known name is taken whole whatever it holds; a name in double
// quotes is; 'the' before it is left off. Number words become digits ('fan two'
// is 'fan 2'), but for the first word and for 'one' before others. A name is
// never replaced by a known one; those nearest are offered (Parsed.New).
//
// Refused inside a name, unless quoted or known: not, no, never and the like, words
// that leave things open (almost, maybe, should), a verb ('fan 2 is low'), a word
// that joins it to what is said of it (when, after, too, near), a keyword with one
// slip in it ('runing') or run together with another ('enginerunning'), a sign
// between its words, an amount in no currency code ('28 euros'), a question mark;
// at its end, a word for how something was (hot, good, again); in a reading or
// test, volts, ohms or amperes that end it or have decimals. When 'commanded', 'unplugged', 'jumped' or
// 'loaded' follows a name of several words without a comma, nobody can say where
// the name ends, and it is refused too; so is 'running' behind a name that begins
// with a known one.
//
// # Quantities
//
//	[under|over|about] NUMBER UNIT [drop|ac|dc|peak]
//
// as package notation reads them; digits stay as typed. Number words: 'twelve
// point three one' 12.31; 'zero point four' 0.4; 'minus', 'oh' for a zero. A
// number of ten or more with another behind it, or two single digits, leave out
// the point: 'twelve three' 12.3, 'twelve thirty one' 12.31, 'twelve oh five'
// 12.05; three digits in a row are refused, with both readings offered. 'OL' and
// 'oh L' are over range, in ohms unless a unit is said. A number without a unit
// is volts when it is in words or the line names the leads by colour, takes the
// value's unit behind 'should be', and is refused elsewhere.
//
// # What any line may say
//
//	because REF [and REF]...        REF: last, a number of an entry, its id or the end of it
//	on WEEKDAY, yesterday, at 14:30, 2026-03-04, three days ago, this morning
//	before you came|before the opening|after REF     its place among the entries
//	by NAME                         who did it; an instrument, a number or a day is nobody
//	# NOTE
//
// # Conditions
//
//	[with] key off|acc|on|ready|cranking|running|driving, ignition|ign on|off, keyon,
//	keyoff, engine running|on, running, cranking, driving, ready, koeo, koer
//	[NAME] commanded [on|off], [NAME] not commanded, NAME running, NAME on|off
//	[with] NAME [and NAME]... unplugged|disconnected|pulled|jumped|bridged, fuse NAME out,
//	fuses NAME and NAME out
//	loaded with NAME, supply 12.6 V, at 8 A, at 20 C, at 2000 rpm
//	hot, cold, idle, idling, engine off       in words only: the key may be on
//	same state                      those of the last reading, then what is said besides
//	concern present|absent, acting up, not acting up
//
// 'NAME commanded' and the like keep their words in the conditions' said. 'at
// 87a' is a point: amperes take a capital A or the word.
//
// # Outcomes
//
//	pass|passed|ok, fail|failed|not ok|no pass|did not pass, inconclusive|unclear
//	good, bad, no good              alone between commas
//	failed 3 of 10, 3 of 10 failed  tries and failures; a failure is a fail
//
// Nothing else is an outcome. A negation or a word that leaves things open in the
// same breath before it, or right behind it, is refused: 'did not fail', 'almost
// pass', 'pass, not really'.
//
// # Readings
//
//	[read] QUANTITY [at|on|in|through|@] POINT [to POINT]
//	QUANTITY between POINT and POINT | across|over COMPONENT | same leads
//	QUANTITY across|over POINT to|and POINT
//	red POINT, black POINT, QUANTITY
//	drop QUANTITY ..., clamp QUANTITY at NAME, gauge [WHAT] QUANTITY at NAME
//	scan WHAT QUANTITY [at MODULE]
//	[test] lamp|led tester bright|dim|dark|out|lit|... at POINT [to POINT]
//	continuity|no continuity|beeps|no beep at POINT to POINT
//	with|by|using|on meter 2, with|by clamp|scope|scan tool|gauge|battery tester
//	should be QUANTITY | LOW..HIGH | LOW to HIGH | at least|at most|over|under QUANTITY | TEXT
//	according to TEXT, covers LIST, wiggled|heated|wetted ..., meanwhile TEXT
//
// with conditions and an outcome. A unit behind the leads belongs to a value that
// has none: 'OL at fan 1 to fan 2 ohms'. 'On lamp' and 'on gauge' are points, and
// so is 'on clamp' but for amperes. A line that begins like a value is a reading;
// one that begins with minutes or hours and no 'at' is time spent.
//
// # Tests
//
//	[test] WHAT [, RESULT]... [covers [mostly] NAME [and|, [mostly] NAME]...]
//	  [should be ...] [concern went away|stayed|went and came back|changed] OUTCOME
//
// with conditions and instrument, which needs no comma before it. The first word of WHAT tells the manner: bypass,
// swapped, reseated, bench, drop, continuity, ran. What is bypassed, swapped,
// reseated, benched or named alone is what the test covers, when it is a known
// component and nothing else is said. A test covers something, and has an
// outcome. Behind 'covers', what follows a comma is one more component unless
// something else begins there; what came of it goes before.
//
// # Parts
//
//	[fitted|replaced|put in] new|used|reconditioned|original NAME [in]
//	NAME [was] replaced|fitted|installed|changed|swapped [by WHO], the SHOP replaced NAME
//	borrowed NAME from NAME [for COMPONENT]
//	  old kept|not kept|thrown away, guess|on test|damage seen|maintenance|bulletin|
//	  customer's wish|trial, 45 EUR|cost 45, part no X, number matches|does not match,
//	  from|supplier NAME, removed NAME, job NAME, part NAME, with a used one, new|used|..., because TEXT
//	removed|took out NAME [, kept [on the bench]|not kept]
//	put back NAME, original|old NAME back in, reseated NAME
//
// # Beliefs
//
//	they say|NAME says|told by NAME that STATEMENT
//	assume|I think|remember|looked up STATEMENT [, about [point] NAME]
//	belief|settle REF true|not true because REF|TEXT
//
// '[the] NAME is good|bad|open|...' of a known component becomes a formal claim.
//
// # Temporary
//
//	jumper on NAME, jumper from POINT to POINT [, fused 10 A], jumper off
//	unplugged NAME, NAME unplugged, plugged NAME back in, fuse NAME out|[back] in
//	pierced|cut NAME [at NAME], sealed|rejoined NAME, cover off NAME, cover on
//	charger on|off, temp TEXT [, undo TEXT], temp off REF
//
// 'temp REF off' is 'temp off REF'. A line in which volts, ohms or amperes stand
// where they may be a reading is never a change: 'fan 3.1 V at C1-2 unplugged'.
// 'Is unplugged' and 'left unplugged' tell what was found, and are refused.
//
// What is undone is found among what is on (Context.On); of several that fit, the
// line must say which. None of its kind on: it was never entered.
//
// # The rest
//
//	saw it|acting up|gone away [CONDITIONS] [, TEXT]      the concern
//	not duplicated, failed 0 of 10|unsafe to repeat|on film
//	concern TEXT [, since WHEN] [, after TEXT] [, when TEXT] [, works TEXT]
//	  [, does not work TEXT] [, about once a week] [, said by NAME]
//	codes CODE [active|stored|pending] [TEXT], ... [from MODULE], codes none
//	MODULE does not answer, cleared codes|codes cleared [in MODULE] [, WHY]
//	battery disconnected, programmed|relearned MODULE [, supply 12.6 V]
//	saw TEXT [, looks bad|good] [, about [point] NAME] [, outside the concern] [, told NAME]
//	20 min TEXT [, charge 45 EUR]                         whole minutes
//	NAME approved|refused [up to] 200 EUR [for TEXT] [by phone|in writing|...]
//	worked on NAME [, TEXT] [, touched LIST]
//	made safe high voltage|airbag|fuel|lifted, locked off, proven dead, tester proven, qualified TEXT
//	repaired|cleaned|... NAME [from POINT to POINT] [: TEXT] [at|in TEXT] [, open|...] [, 45 EUR]
//	checked repair REF, rescanned, relearned, concern tried, gone|still there, before REF, after REF, OUTCOME
//	meter 2 [checked] on TEXT [, shows QUANTITY], OUTCOME; meter leads shorted, 0.2 ohm, OUTCOME; clamp zeroed
//	close fixed and checked|cause found not repaired|works as designed|repaired on watch|not found|declined
//	note ANYTHING                                         as typed, '#' and all
//
// Of what was seen, the place is the one known name that the words hold, or a
// designation with a digit at their end ('in splice S4').
package quick
