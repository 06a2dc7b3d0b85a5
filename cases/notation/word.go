package notation

import (
	"strconv"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"
)

// Word is an enum value as people say it: KEY_POSITION_RUNNING is 'running'.
// Empty for the unspecified value; a number this build does not know stays a
// number.
func Word(e protoreflect.Enum) string {
	if e.Number() == 0 {
		return ""
	}
	values := e.Descriptor().Values()
	v := values.ByNumber(e.Number())
	if v == nil {
		return "value " + strconv.Itoa(int(e.Number()))
	}
	prefix := strings.TrimSuffix(string(values.ByNumber(0).Name()), "UNSPECIFIED")
	word := strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(string(v.Name()), prefix), "_", " "))
	return strings.Replace(word, "customers ", "customer's ", 1)
}

// Words lists what every value of an enum is called, in order, the unspecified
// one left out.
func Words(e protoreflect.Enum) []string {
	values := e.Descriptor().Values()
	var out []string
	for i := 0; i < values.Len(); i++ {
		if n := values.Get(i).Number(); n != 0 {
			out = append(out, Word(e.Type().New(n)))
		}
	}
	return out
}
