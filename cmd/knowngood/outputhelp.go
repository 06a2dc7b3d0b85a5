package main

import "github.com/spf13/cobra"

func newOutputHelp() *cobra.Command {
	return &cobra.Command{Use: "output", Short: "Formats, shapes of -o json, ndjson and csv, exit codes", Long: outputHelp}
}

const outputHelp = `-o table   for people; the layout may change
-o json    one array of objects, indented
-o ndjson  one object a line
-o csv     a first line of names; the items of a list are parted by '; '
-o pdf     brief and handback only: the page as it is printed, one where the case allows

Members below keep their names, types and meaning; new ones may be added. Times are
RFC 3339 in the zone of --tz, a date alone when only the day is known, empty when not
known. Money is {"minor": 1250, "currency": "EUR"}: minor units of ISO 4217; in csv
'1250 EUR'. Case and entry ids are UUIDv7.

recording  case, seq (0 while it waits), id, kind, state ('sent', 'waiting to send'),
           text, remarks (list), tells (list: what a reading tells of a drawing), event
           (the event as protobuf JSON)
board      case, shop, vehicle, vin, concern, state, opened, waits_for, waits_for_you,
           tested, only_believed, findings, temporary (list), spent (list of money),
           spent_without_test (list of money), entries
timeline   seq, job (place in job order), id, kind, happened, recorded, by,
           recorded_by, shop, text, now (what a correction put in its place), marks
           (list), word (on whose word it stands), typed (the line it was made from),
           hash (SHA-256 of an attached file)
replay     as timeline, then tested, only_believed, temporary: counts once the entry
           was in the log; suspects (list of component, probability), grade
suspects   component, probability, if_less_likely, if_more_likely (the prior three
           times smaller, larger), verdicts (list of standing, mode, conditions
           (list), entries (list), since, until (0: now), assumes)
suspects --explanations  parts (list), probability
suspects --circuit  seq, reading, unit, low, high (foretold with nothing wrong),
           best_low, best_high (by the likeliest explanation), fits, rules_out (list),
           leaves (list), doubt
suspects --table  one object: the table of priors, shares and costs in force
next       aim ('to check', 'to prove', 'to find', 'withheld'), manner, component, do,
           red, black (leads), expect (list), unplugged, loaded (lists), write_down, if_well, if_bad, fails, bits,
           minutes, now, after_well, after_bad, tools (list), caution
watch      case, then as timeline, then cursor: resume behind this line; empty when
           only a later line has one
review     rule, severity ('look now', 'look', 'note'), entries (list of seq), about
           (list), why, clears
review --rules  rule, severity, doctrine
brief, handback
           json: title, sections (title, lines (text, mark, entries), none), cautions
           ndjson and csv, a row a line: section, mark, text, entries
pins       point, pin, colour, gauge, where, net, source, last, seq
spend      seq, what, grade, reason, why, minutes, cost (list of money)
use        case, vehicle, concern, name, person, shop, shop_id, server, home
join       name, person, shop, shop_id, role, device
invite     code, role, expires, server, case, link
people     what ('person', 'device', 'join code'), id, name, shop, role, state, case,
           expires
withdraw   what, id, name; with --case as recording
sync       state ('waiting to send', 'refused', 'missing there'), case, id, kind, reason, text, refused,
           hash (SHA-256 of a file)
import     line, state, id, kind, text
verify     case, line (of a file; 0: all of it), entry (0: all of it), state ('does not
           hold', 'remark', 'holds'), text, says (by whom it cannot have been, since when)
backup, restore  file, log, made, entries, epoch, files, bytes, aside
serve      json, ndjson: address, page (of browsers; empty: none), shops (name, shop, code,
           expires, link)
web        link
bench      figure, value, low, high (its limits at 95 %), count, told, goal, met, seed, cases
version    version, revision, changed, go, platform

Exit codes
  0  done
  1  failed
  2  the command or what was typed cannot be understood, or needs a yes
  3  not found
  4  conflict: somebody else was first, or the log has another history
  5  saved here, not sent yet: it goes with the next command that reaches the server
  6  refused

Settings: a flag stands above the environment (KNOWNGOOD_OUTPUT, KNOWNGOOD_TZ,
KNOWNGOOD_NO_INPUT, KNOWNGOOD_CASE, KNOWNGOOD_SERVER, KNOWNGOOD_BY), that above the
file 'settings' with lines such as 'tz = Europe/Dublin'. KNOWNGOOD_HOME, or --home,
holds everything; otherwise the XDG base directories do. NO_COLOR is obeyed.`
