package server

import (
	"math"

	"knowngood.example/cases/envelope"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// standing is how somebody stands to the case, register or device in question.
// A rule holds a set of them.
type standing uint8

const (
	// nowhere: there is no such thing, or it is somebody else's, or access to it
	// was withdrawn or has run out. The four are one, so that they answer alike.
	nowhere standing = 1 << iota
	// reads: may see the case.
	reads
	// writes: may see the case and write in it.
	writes
	// owns: works at the shop that opened the case.
	owns
	// self: it concerns nothing but the caller: the caller's own shop's feed, own
	// device.
	self
	// house: it is the register of the caller's shop.
	house
	// shopmate: it concerns another person of the caller's shop.
	shopmate

	seen = reads | writes | owns
)

// rule says in which standing each role may do something. A role that is not
// there may not.
type rule map[eventv1.Role]standing

const (
	owner      = eventv1.Role_ROLE_OWNER
	technician = eventv1.Role_ROLE_TECHNICIAN
	guest      = eventv1.Role_ROLE_GUEST_SPECIALIST
	// stranger is somebody without a token.
	stranger = eventv1.Role_ROLE_UNSPECIFIED
)

// anyone is every role alike.
func anyone(in standing) rule { return rule{owner: in, technician: in, guest: in} }

// visitors may be guests: a guest has no part in the cases of the shop, only in
// those handed over.
func visitors(in standing) rule { return rule{owner: in | owns, technician: in | owns, guest: in} }

// methods is the table of who may call what. A method that is not here may not
// be called by anybody.
var methods = map[string]rule{
	boardv1.BoardService_Append_FullMethodName:            anyone(self), // then kind by kind
	boardv1.BoardService_Entries_FullMethodName:           {owner: seen | house, technician: seen | house, guest: reads | writes},
	boardv1.BoardService_Watch_FullMethodName:             {owner: seen | house | self, technician: seen | house | self, guest: reads | writes | self},
	boardv1.BoardService_Consistency_FullMethodName:       anyone(self),
	boardv1.BoardService_Tiles_FullMethodName:             anyone(self),
	boardv1.BoardService_Board_FullMethodName:             anyone(self), // then case by case
	boardv1.BoardService_Timeline_FullMethodName:          visitors(reads | writes),
	boardv1.BoardService_Review_FullMethodName:            visitors(reads | writes),
	boardv1.BoardService_Brief_FullMethodName:             visitors(reads | writes),
	boardv1.RegisterService_Meet_FullMethodName:           {stranger: nowhere},
	boardv1.FileService_FileState_FullMethodName:          visitors(reads | writes),
	boardv1.FileService_PutFile_FullMethodName:            visitors(writes),
	boardv1.FileService_GetFile_FullMethodName:            visitors(reads | writes),
	boardv1.FileService_EraseFile_FullMethodName:          {owner: owns},
	boardv1.RegisterService_Join_FullMethodName:           {stranger: nowhere},
	boardv1.RegisterService_Invite_FullMethodName:         {owner: self | owns}, // to the shop, or to a case of it
	boardv1.RegisterService_People_FullMethodName:         anyone(self),
	boardv1.RegisterService_WhoAmI_FullMethodName:         anyone(self),
	boardv1.RegisterService_WithdrawDevice_FullMethodName: {owner: self | shopmate, technician: self, guest: self},
	boardv1.RegisterService_WithdrawPerson_FullMethodName: {owner: self | shopmate, technician: self, guest: self},
	boardv1.RegisterService_WithdrawCode_FullMethodName:   {owner: self},
}

// unknownKind stands in the table for every kind this build does not know.
const unknownKind = math.MaxUint32

var (
	// work is what anybody who may write in a case records.
	work = visitors(writes)
	// theOwners is for the shop whose case it is.
	theOwners = rule{owner: owns, technician: owns}
	// nobody: the server alone writes it.
	nobody = rule{}
)

// kinds is the table of who may append what. A kind that is known and not here
// may not be appended by anybody.
var kinds = map[uint32]rule{
	kindCaseOpened: {owner: nowhere, technician: nowhere}, // a case of one's own shop, in a stream that is not there yet

	101: work, 102: work, 103: work, 104: work, // the concern
	105: work, 106: work, 107: work, // codes, evidence disturbed
	108: work, 109: work, 110: work, // parts
	111: work, 112: work, 113: work, 114: work, // readings, tests, things seen, meters
	115: work, 116: work, // beliefs
	117: work, 118: work, // drawings, same as
	119: work, 120: work, 121: work, 122: work, // temporary, worked on, made safe
	123: work, 124: work, // repairs

	kindHandedOff:  theOwners,
	kindTakenUp:    work,
	kindHandedBack: work,

	128: work, 129: work, 130: work, kindAttachment: work, 132: work, // approval, time, note, attachment, correction
	133: theOwners, 134: theOwners, // closed, reopened
	135: work,      // check due
	136: theOwners, // came back

	kindAccessGranted:   nobody,
	kindAccessWithdrawn: {owner: owns},
	kindErased:          nobody,
	kindFileErased:      nobody,

	kindShopOpened: nobody, kindPersonAdded: nobody, kindDeviceAdded: nobody, kindDeviceWithdrawn: nobody, kindRoleGiven: nobody,
	kindRestored: nobody,

	unknownKind: work,
}

// Kinds that the server itself acts on, by field number.
const (
	kindCaseOpened      = 100
	kindHandedOff       = 125
	kindTakenUp         = 126
	kindHandedBack      = 127
	kindAccessGranted   = 160
	kindAccessWithdrawn = 161
	kindAttachment      = 131
	kindErased          = 162
	kindFileErased      = 163
	kindShopOpened      = 180
	kindPersonAdded     = 181
	kindDeviceAdded     = 182
	kindDeviceWithdrawn = 183
	kindRoleGiven       = 184
	kindRestored        = 190
)

// mayCall reports whether the role may call the method in that standing.
func mayCall(method string, role eventv1.Role, in standing) bool {
	return methods[method][role]&in != 0
}

// mayAppend reports whether the role may append the kind in that standing.
func mayAppend(kind uint32, role eventv1.Role, in standing) bool {
	if envelope.KindName(kind) == "" {
		kind = unknownKind
	}
	return kinds[kind][role]&in != 0
}
