// Package web is the page: what people in a bay see and write on, from a replica on
// their own machine or from the shop's server. It computes nothing of its own. What it
// shows are documents of package brief and values of the core; what it records is a
// line that package quick reads, kept by whoever stands behind it.
//
// # Who stands behind it
//
// A Door lets somebody in: who it is, and a Desk at which they see and write what they
// may. A home is one (NewHome); a server in the same process is one through package
// main, since client and server never import each other. Who may do what is decided
// below, never here. What a Desk offers is cases (Ledger), the files attached to them
// (Files), and what was refused after it was written down here (Tray).
//
// # Addresses
//
//	GET  /                      the board
//	GET  /case/ID               a case; ?q= filters its timeline as the command does
//	GET  /case/ID/rows          rows of the timeline, as HTML: ?after=SEQ, or ?before=SEQ
//	GET  /case/ID/stands        what stands, as HTML, to be put in the place of what stood
//	GET  /case/ID/brief, /handback, /customer: documents, and with /pdf behind it as PDF;
//	     ?at=SEQ as it read then
//	GET  /case/ID/pins, /case/ID/replay?at=SEQ
//	GET  /case/ID/draw          to draw a circuit; ?instead=SEQ to draw one anew, from how it stands
//	POST /case/ID/draw          the same with what was typed, and its picture; nothing is kept
//	GET  /case/ID/hand          to hand off, take up and hand back
//	GET  /open, POST /open      to open a case
//	POST /case/ID/hear          how a line would be understood; nothing is kept
//	POST /case/ID/say           keeps it
//	POST /case/ID/again         records anew what the server refused (refused: its id)
//	POST /case/ID/attach        keeps a file
//	GET  /case/ID/file/ENTRY    the bytes of the file that an entry names, by its id
//	GET  /live                  what happens, as it happens (EventSource)
//	GET  /join, POST /join      a join code becomes a session
//	GET  /enter?key=KEY         the same for a link that was printed on this machine
//	GET  /trust                 the certificate to trust, where there is one
//	GET  /assets/NAME           style, scripts
//
// # What is said
//
// 'hear' and 'say' take a form (application/x-www-form-urlencoded):
//
//	line     the line; or instead
//	form     reading, test, fitted, belief, temporary, undone or note, and its fields, from which the
//	         line is made (form.go); or
//	         draw: path, lines of package path; basis, source, name; to draw anew: instead, the
//	         id of the entry that drew it, and why. It becomes a correction of that entry;
//	         handoff: to, question, minutes, money, may-cut, may-remove, limits, person, read-only;
//	         takeup: said; handback: found, cause, mode, proof, because, old-parts, not-done, left-open,
//	         check-due, check (and check-id, the UUIDv7 of what they make):
//	         named and read as the commands' flags are
//	by, when, before    who did it, when, whether before the opening: as --by, --when, --before-opening
//	expect   of what wants a place in the case: the place that was next when its form was opened.
//	         What came since is shown and asked about
//	id       UUIDv7 of the event, minted by the page: the same twice is kept once
//	happened RFC 3339, when it was typed, where it is sent later
//	yes      1: take what was asked about
//
// and answer JSON where application/json is asked for, otherwise a page:
//
//	200 {"case", "id", "seq", "text", "waiting", "understood", "new", "picture"}
//	422 {"error", "column", "length", "understood"}     the line is not understood, or cannot be
//	    {"error", "field"}                              that field of a form is wrong
//	    {"error", "problems": [{"where", "what", "remedy", "before", "meant", "after"}]}
//	                                                    of a drawing: places of its lines
//	409 {"questions": [...]}                            say it again with yes=1, or change it
//	401, 403, 404, 429, 503 {"error"}
//
// /open takes a form too: case and id, minted by the page, and fields named as the flags of
// 'knowngood open' are.
//
// # Files
//
// /attach takes multipart/form-data with one part 'file', at most 256 MiB, and the fields
// name, entry, by, when, before and id before or behind it. It is read as it comes, for as
// long as it goes on: 30 seconds without a byte end it. Who may not write in the case is told
// before any of it is read. Where the page is a home's, the bytes lie in the home before
// the entry that names them, and go by themselves once a server answers.
//
// A file is given as an attachment to be kept, as application/octet-stream, with nosniff and
// in a sandbox. The page shows photographs (JPEG, PNG, WebP, GIF) in the timeline: of
// those alone the type is told, since a browser runs nothing of them.
//
// A line that was not kept is never thrown away: the page has it, in the field it was
// typed in or among those that wait.
//
// # Live
//
// /live is text/event-stream. An event's id is the cursor behind it, so that a
// connection that was lost goes on where it ended (Last-Event-ID).
//
//	event: state   data: {"waiting": 3, "files": 1, "off": "why the server is not reached"}
//	event: entry   data: {"case": ID, "seq": 12}
//
// What was written down here and is refused when it is sent leaves the timeline and stands
// among what stands, with why, until it is done again.
//
// The page answers an entry by fetching the rows behind the last it has: whatever was
// missed comes with them.
//
// # What waits in the page
//
// Where the page's own server does not answer, what was typed is kept in the browser
// (localStorage), with its id and its moment, shown as waiting, and said in order once
// the server is there. What is refused then goes back to whoever typed it, with why.
//
// # Safety
//
// Content-Security-Policy allows scripts, styles and connections of the page's own only,
// none inline. Cookies are HttpOnly and SameSite, Secure over TLS. Writes from other
// sites are refused (http.CrossOriginProtection), and so is any request whose Host is
// not one of the page's own, since a name that leads to 127.0.0.1 can be anybody's.
// html/template escapes what was recorded; what would turn letters round or hide them is
// replaced before (client.Clean).
package web
