// Package picture draws a circuit as SVG: what lies between which points, what was read
// where and what it should have been, what is proven, and where the trouble is. It is pure:
// the same circuit is the same bytes, and nothing is read or written.
//
// # Use
//
//	for _, c := range picture.Case(judged) {        // one for each circuit of the case
//	    svg := picture.Of(c, 360, func(point string) string { return "read?at=" + url.QueryEscape(point) })
//	}
//	all, warnings, err := picture.Sketch(line)      // while a path is typed; *path.Error says where it is none
//	w.Write(picture.Style)                          // the stylesheet, served as a file
//
// Of takes a width in pixels and gives an <svg> to be put into a page as it is; where so
// many branches lie side by side that there is no room for text it comes out wider. It has
// no style attribute, no script and no reference to anything, so that 'style-src self' will
// do; every name in it is escaped, and characters that cannot be seen are replaced by
// U+FFFD. Its ids begin with Circuit.ID and the width, so that a page may hold one for a
// phone and one for a desk; on A4 720 pixels are readable. Without the stylesheet it is drawn in the colour of the text
// around it.
//
// Where link is given, each point is a link, with a place to touch of 56 by 56 pixels and 12
// pixels at least to the next: the picture is longer for it. A page shows it at its size, and
// lets it be moved where it is wider than the screen, rather than making it smaller.
//
// # Classes, for a page's own stylesheet
//
//	svg.circuit
//	.band                        behind what is suspected
//	.wires                       the strands and rails
//	.element .point .post .end   what is read out; .element has its kind too, .fuse or
//	                             .relay-coil, and .bad or .trouble where it is
//	.symbol .touch               within these
//	text.name .point .says       what the drawing says
//	text.plain .fits .off .proven .bad .trouble    notes
//
// and the properties --circuit-ink, -quiet, -trouble, -band, -bad and -proven. Nothing is
// said by them alone: a reading says in words that it is not as it should be, a suspect has
// its probability, a wire its colour in words.
//
// # For who does not see it
//
// The picture is a group with title and description, and in it a list in the order from plus
// to minus, branch by branch: each element, point and end with all that is written beside it,
// and between which points it lies. Lines are hidden from it.
//
// # Layout
//
//  1. Strands (plan.go): elements one behind the other, from one joint to the next. A joint
//     is a post, a point at which other than two elements meet, or an end. A strand runs
//     from plus to minus; one that would close a circle is turned round. What leads to the
//     negative post ends there by itself, at a ground's symbol or a post, since the way back
//     is the vehicle's metal and a line for it says nothing.
//  2. Order and columns (plan.go): from plus on, strand by strand in the order they were
//     drawn in, a joint as soon as all that leads to it is drawn. At a joint the columns
//     of what ends there are free; what begins takes them, then the next free ones.
//  3. Rows (layout.go): all runs downwards. Each column has a cursor; an element, a point or
//     an end takes the rows that its label needs, and the rail of a joint takes rows of its
//     own in all columns from its first to its last, so that no line passes through a label.
//     Where it crosses a strand that it does not join it bows over it.
//  4. Text stands to the right of its column's line, up to the next column. Where columns
//     would be narrower than 200 pixels they become lanes: lines close together, the text to
//     the right of all, one row for one thing in the whole picture. Then the strand furthest
//     to the right is drawn first, so that few lines pass before its text. Where there is
//     room for 600 pixels of text, notes stand beside names and not under them.
//  5. Letters (metric.go) are taken to be as wide as in the widest face a device may have.
//     Text is wrapped and never cut off.
//
// A point whose name follows from the element beside it ('fuse F7 out') and of which nothing
// is known has a dot and no label. Of more than five readings at one place the last four
// stand there, and how many there are besides.
package picture
