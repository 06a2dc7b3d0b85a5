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
// below, never here.
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
//	POST /case/ID/hear          how a line would be understood; nothing is kept
//	POST /case/ID/say           keeps it
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
//	         line is made (form.go)
//	id       UUIDv7 of the event, minted by the page: the same twice is kept once
//	happened RFC 3339, when it was typed, where it is sent later
//	yes      1: take what was asked about
//
// and answer JSON where application/json is asked for, otherwise a page:
//
//	200 {"id", "seq", "text", "waiting", "understood", "new"}
//	422 {"error", "column", "length", "understood"}     the line is not understood, or cannot be
//	409 {"questions": [...]}                            say it again with yes=1, or change it
//	401, 403, 404, 429, 503 {"error"}
//
// A line that was not kept is never thrown away: the page has it, in the field it was
// typed in or among those that wait.
//
// # Live
//
// /live is text/event-stream. An event's id is the cursor behind it, so that a
// connection that was lost goes on where it ended (Last-Event-ID).
//
//	event: state   data: {"waiting": 3, "off": "why the server is not reached"}
//	event: entry   data: {"case": ID, "seq": 12}
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
