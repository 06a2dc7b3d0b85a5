package web

import (
	"cmp"
	"fmt"
	"net/url"
	"strings"

	"knowngood.example/cases/notation"
	"knowngood.example/client"
)

// formLine makes of the fields of a short form the line that says the same, so that
// there is one way in.
func formLine(f url.Values) (string, error) {
	get := func(name string) string { return strings.Join(strings.Fields(f.Get(name)), " ") }
	var l []string
	add := func(format, text string) {
		if text != "" {
			l = append(l, fmt.Sprintf(format, text))
		}
	}
	need := func(name, what string) (string, error) {
		if s := get(name); s != "" {
			return s, nil
		}
		return "", impossible{fmt.Errorf("%s is missing", what)}
	}
	switch kind := f.Get("form"); kind {
	case "reading":
		value, err := need("value", "the value that was read")
		if err != nil {
			return "", err
		}
		red, err := need("red", "where the red lead was")
		if err != nil {
			return "", err
		}
		text := strings.TrimSpace(value + " " + get("unit"))
		if get("drop") != "" {
			text += " drop"
		}
		text += " at " + name(red)
		if black := get("black"); black != "" {
			text += " to " + name(black)
		}
		l = append(l, text)
		add("%s", get("state"))
		add("%s", get("conditions"))
		add("should be %s", get("should"))
		add("%s", get("outcome"))
	case "test":
		did, err := need("did", "what was done to find out")
		if err != nil {
			return "", err
		}
		covers, err := need("covers", "which part the test covers")
		if err != nil {
			return "", err
		}
		outcome, err := need("outcome", "what came of it: pass, fail or inconclusive")
		if err != nil {
			return "", err
		}
		l = append(l, "test "+did, "covers "+names(covers), outcome)
	case "fitted":
		part, err := need("part", "which part was fitted")
		if err != nil {
			return "", err
		}
		l = append(l, "fit "+cmp.Or(get("state"), "new")+" "+name(part)+" in")
		add("%s", get("old"))
		add("%s", get("why"))
		add("cost %s", get("cost"))
	case "belief":
		statement, err := need("statement", "what is believed")
		if err != nil {
			return "", err
		}
		switch get("basis") {
		case "told":
			l = append(l, "they say "+statement)
		case "looked up", "remember":
			l = append(l, get("basis")+" "+statement)
		default:
			l = append(l, "assume "+statement)
		}
	case "temporary":
		what, err := need("what", "what stays on the vehicle for now")
		if err != nil {
			return "", err
		}
		l = append(l, "temp "+what)
		add("undo %s", get("undo"))
	case "undone":
		entry, err := need("entry", "which change was undone")
		if err != nil {
			return "", err
		}
		l = append(l, "temp off "+entry)
	case "note":
		text, err := need("text", "the note")
		if err != nil {
			return "", err
		}
		return "note " + text, nil
	default:
		return "", impossible{fmt.Errorf("there is no form %q; there are reading, test, fitted, belief, temporary, undone, note", client.Clean(kind))}
	}
	return strings.Join(l, ", "), nil
}

// name quotes a name that the parser could take for more than that.
func name(s string) string {
	if strings.Contains(s, `"`) || notation.Key(s) == "" {
		return s
	}
	return `"` + s + `"`
}

func names(list string) string {
	var out []string
	for _, s := range strings.Split(list, ",") {
		if s = strings.TrimSpace(s); s != "" {
			out = append(out, name(s))
		}
	}
	return strings.Join(out, ", ")
}
