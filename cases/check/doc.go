// Package check is the one place for checks on the way in. Commands, page, sync
// and import all hold what they are given against it, so that an event refused
// at one face is refused at every other, in the same words.
//
// What is found has one of three severities:
//
//	Refuse    cannot be: the event is not taken
//	AskAgain  hardly can be: a face asks whoever wrote it, or takes --yes; a
//	          server, which has nobody to ask, takes it with a remark
//	Remark    taken; somebody may want to know
//
// Nothing here looks at the envelope's own fields (id, device, chain, salt):
// package envelope does, so an event can be checked before it is numbered.
//
// Kinds from the future pass with no check: this build cannot know what they
// should say.
package check
