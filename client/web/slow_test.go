package web

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// stalled is a browser that asked, and does not read.
type stalled struct {
	*httptest.ResponseRecorder
	begun, on chan struct{}
}

func (s stalled) Write(b []byte) (int, error) {
	select {
	case s.begun <- struct{}{}:
	default:
	}
	<-s.on
	return s.ResponseRecorder.Write(b)
}

// TestSlowReaders: whoever asks for a page of a case and does not read it keeps nobody
// else from the case.
func TestSlowReaders(t *testing.T) {
	b := newBay(t)
	for _, path := range b.pages() {
		slow := stalled{httptest.NewRecorder(), make(chan struct{}, 1), make(chan struct{})}
		ended := make(chan struct{})
		go func() { b.ServeHTTP(slow, b.request("GET", path, nil)); close(ended) }()
		<-slow.begun
		served := make(chan int, 1)
		go func() {
			w := httptest.NewRecorder()
			b.ServeHTTP(w, b.request("POST", "/case/"+b.stream+"/say", url.Values{"line": {"note meanwhile"}}))
			served <- w.Code
		}()
		select {
		case code := <-served:
			require.Equal(t, http.StatusOK, code, path)
		case <-time.After(5 * time.Second):
			t.Errorf("%s: who reads it slowly keeps others from the case", path)
		}
		close(slow.on)
		<-ended
		require.Equal(t, http.StatusOK, slow.Code, path)
	}
}
