package web

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"net/http"
	"net/url"
	"path"
	"slices"
	"strings"
	"time"

	"knowngood.example/cases"
	"knowngood.example/cases/check"
	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// mostFile is how much a request may bring that attaches a file.
const mostFile = check.MaxFile + most

// lull is how long a file may not go on while it comes or goes.
const lull = 30 * time.Second

// attach puts a file to the case: a form of multipart/form-data with the part 'file'.
func attach(v *visit) error {
	if err := v.desk.Case(v.r.Context(), v.stream(), func(*Case) error { return nil }); err != nil {
		return err // before anything of the file is taken
	}
	v.r.PostForm = url.Values{"form": {"attach"}}
	form, err := v.r.MultipartReader()
	if err != nil {
		return v.refused("", impossible{errors.New("there is no file in this: choose one first")})
	}
	file, err := v.fields(form)
	if err == nil && file == nil {
		err = impossible{errors.New("no file came: choose one first")}
	}
	if err != nil {
		return v.refused("", err)
	}
	s := spoken{event: &eventv1.Event{Stream: v.stream(), Kind: &eventv1.Event_Attachment{Attachment: new(eventv1.Attachment)}}}
	err = v.desk.Attach(v.r.Context(), s.event, file, func(e *eventv1.Event) error {
		if more, err := v.fields(form); err != nil || more != nil {
			return errors.Join(err, impossible{errors.New("one file at a time: attach the others one by one")})
		}
		return v.attached(&s, file)
	})
	if err != nil {
		return v.refused("", err)
	}
	return v.told(s)
}

// fields reads what stands before the file, or behind it, where it is nil.
func (v *visit) fields(form *multipart.Reader) (file *multipart.Part, err error) {
	size := 0
	for {
		part, err := form.NextPart()
		if errors.Is(err, io.EOF) {
			return nil, nil
		}
		if err != nil {
			return nil, fmt.Errorf("the form did not come whole: %w", err)
		}
		if part.FormName() == "file" {
			return part, nil
		}
		b, err := io.ReadAll(io.LimitReader(part, most))
		if err != nil {
			return nil, fmt.Errorf("the form did not come whole: %w", err)
		}
		if size += len(b); size >= most {
			return nil, impossible{fmt.Errorf("the fields have more than %d bytes: write less", most)}
		}
		v.r.PostForm.Add(part.FormName(), string(b))
	}
}

// attached says of a file, whose size and hash are known, what the fields say.
func (v *visit) attached(s *spoken, file *multipart.Part) error {
	a := s.event.GetAttachment()
	if a.Name = strings.TrimSpace(v.r.PostForm.Get("name")); a.Name == "" {
		a.Name = fileName(file)
	}
	if a.Name == "" {
		return impossible{errors.New("the file has no name: write one under 'called'")}
	}
	said, _, err := mime.ParseMediaType(file.Header.Get("Content-Type"))
	if err != nil {
		said = ""
	}
	a.MediaType, _, _ = strings.Cut(cmp.Or(mime.TypeByExtension(strings.ToLower(path.Ext(a.Name))), said, "application/octet-stream"), ";")
	s.event.Id = v.r.PostForm.Get("id")
	return v.desk.Case(v.r.Context(), v.stream(), func(c *Case) error {
		if entry := strings.TrimSpace(v.r.PostForm.Get("entry")); entry != "" {
			last, _, _ := lately(c.Case, v.who.Device)
			if a.Entry, err = client.FindEntry(c.Case, entry, last); err != nil {
				return &client.Wrong{Field: "entry", Says: ": " + err.Error()}
			}
		}
		if err := v.laid(s); err != nil {
			return err
		}
		if s.event.GetHappened() == nil {
			if s.event.Happened, err = v.typedAt(); err != nil {
				return err
			}
		}
		return v.holds(c, s.event)
	})
}

// fileName is what the browser calls a file, whatever folders it comes from. A leading dot
// hides a file where it is written, and is left off.
func fileName(file *multipart.Part) string {
	_, params, err := mime.ParseMediaType(file.Header.Get("Content-Disposition"))
	if err != nil {
		return ""
	}
	return strings.TrimLeft(path.Base(strings.ReplaceAll(params["filename"], `\`, "/")), "./")
}

// attachedFile is a file that an entry names, and where its bytes are.
type attachedFile struct {
	Name, Size, Link string
	// Shown: it is a photograph that the page may show.
	Shown bool
	// Gone: its bytes were erased. Unsent: they are on this machine alone.
	Gone, Unsent bool
	// Of is the entry it belongs to; 0: the case.
	Of uint64
}

func fileOf(c *Case, s *cases.Step) *attachedFile {
	a := s.Says.GetAttachment()
	if a == nil {
		return nil
	}
	gone := c.FilesErased[string(a.GetSha256())] != nil
	out := &attachedFile{
		Name: client.PlainName(a), Size: size(a.GetSize()), Link: "/case/" + url.PathEscape(c.Stream) + "/file/" + url.PathEscape(s.ID),
		Shown: shownInPage(a) && !gone, Gone: gone,
	}
	if of := c.ByID(a.GetEntry()); of != nil {
		out.Of = of.Seq
	}
	return out
}

// size of a file in words.
func size(n uint64) string {
	switch {
	case n >= 1e6:
		return fmt.Sprintf("%.1f MB", float64(n)/1e6)
	case n >= 1e3:
		return fmt.Sprintf("%.0f kB", float64(n)/1e3)
	}
	return fmt.Sprintf("%d bytes", n)
}

// shownInPage: a browser shows it without running anything of it. All else is given to be
// kept, never to be opened in the page's name.
func shownInPage(a *eventv1.Attachment) bool {
	return slices.Contains([]string{"image/jpeg", "image/png", "image/webp", "image/gif"}, a.GetMediaType())
}

// showFile gives the bytes of the file that an entry names.
func showFile(v *visit) error {
	var named *eventv1.Attachment
	err := v.desk.Case(v.r.Context(), v.stream(), func(c *Case) error {
		step := c.ByID(v.r.PathValue("entry"))
		if step == nil || step.Says.GetAttachment() == nil {
			return fmt.Errorf("%w: that entry names no file", client.ErrNotFound)
		}
		named = step.Says.GetAttachment()
		if by := c.FilesErased[string(named.GetSha256())]; by != nil {
			return fmt.Errorf("%w: %w: see #%d", client.ErrNotFound, client.ErrErased, by.Seq)
		}
		return nil
	})
	if err != nil {
		return err
	}
	out := &given{visit: v, named: named}
	err = v.desk.File(v.r.Context(), v.stream(), named, out)
	if err != nil && out.begun {
		panic(http.ErrAbortHandler) // so that nobody takes half of it for the whole
	}
	return err
}

// given writes a file to a browser, with what keeps it from being more than bytes.
type given struct {
	*visit
	named *eventv1.Attachment
	begun bool
}

func (g *given) Write(b []byte) (int, error) {
	if !g.begun {
		g.begun = true
		h := g.w.Header()
		kind := "application/octet-stream"
		if shownInPage(g.named) {
			kind = g.named.GetMediaType()
		}
		h.Set("Content-Type", kind)
		h.Set("Content-Length", fmt.Sprint(g.named.GetSize()))
		h.Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": client.PlainName(g.named)}))
		h.Set("Content-Security-Policy", "sandbox; "+policy)
	}
	if err := http.NewResponseController(g.w).SetWriteDeadline(time.Now().Add(lull)); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return 0, err
	}
	return g.w.Write(b)
}

// unhurried is the body of a request that may take as long as it goes on.
type unhurried struct {
	io.ReadCloser
	control *http.ResponseController
}

func (u unhurried) Read(b []byte) (int, error) {
	// The answer has its time from the last of the file on, not from the first.
	err := errors.Join(u.control.SetReadDeadline(time.Now().Add(lull)), u.control.SetWriteDeadline(time.Now().Add(4*lull)))
	if err != nil && !errors.Is(err, http.ErrNotSupported) {
		return 0, err
	}
	return u.ReadCloser.Read(b)
}
