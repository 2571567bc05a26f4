package cli

import (
	"bytes"
	"context"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/cookiejar"
	"path/filepath"
	"strings"
	"testing"

	"rinsate/internal/store/sqlite"
)

// The whole way of a first run as a person starts it: the printed address, the form, the pages of the site
// at the same address, an end in good order, and the same folder served again.
func TestFirstRun(t *testing.T) {
	t.Parallel()
	data := filepath.Join(t.TempDir(), "data")
	var talk lines
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan int, 1)
	go func() {
		ended <- Run(ctx, []string{"--data", data, "init", "--pages", "--listen", "127.0.0.1:0"}, Streams{In: strings.NewReader(""), Out: io.Discard, Err: &talk},
			clock)
	}()
	at := talk.wait(t, `http://localhost:\d+/first-run/\S+`, ended)
	if err := sqlite.Folder(data).Vacant(); err != nil {
		t.Errorf("something was made before the form was sent: %v", err)
	}
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	c := &http.Client{Jar: jar, Transport: &http.Transport{DisableKeepAlives: true}}
	send := func(r *http.Request) string {
		t.Helper()
		a, err := c.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		defer a.Body.Close() //nolint:errcheck // read to its end
		body, err := io.ReadAll(a.Body)
		if err != nil {
			t.Fatal(err)
		}
		return string(body)
	}
	get := func(url string) string {
		t.Helper()
		r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, url, nil)
		if err != nil {
			t.Fatal(err)
		}
		return send(r)
	}
	if page := get(at); !strings.Contains(page, "First run") || !strings.Contains(page, data+"-demo") {
		t.Fatalf("the page:\n%s", page)
	}
	var form bytes.Buffer
	w := multipart.NewWriter(&form)
	for name, value := range map[string]string{
		"name": "Example clinic", "site": "NORTH", "zone": "Europe/Berlin", "test": "atp|RLU", "system": "example-system", "meter": "M-1", "kit": "example-kit",
		"rules": "preset", "code": "L-01", "person": "Kim Muster", "password": "crumb lantern oboe drift", "again": "crumb lantern oboe drift",
	} {
		if err := w.WriteField(name, value); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	base := at[:strings.LastIndex(at, "/")]
	r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, base, &form)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", w.FormDataContentType())
	if page := send(r); !strings.Contains(page, "Example clinic has begun") {
		t.Fatalf("the answer:\n%s", page)
	}
	if page := get(strings.TrimSuffix(base, "/first-run") + "/today"); !strings.Contains(page, "Kim Muster") {
		t.Errorf("the board:\n%s", page)
	}
	stop()
	if code := <-ended; code != exitDone || !strings.Contains(talk.String(), "data folder "+data) {
		t.Errorf("it ended with %d: %s", code, talk.String())
	}
	var out bytes.Buffer
	if code := Run(
		t.Context(),
		[]string{"--data", data, "user", "list"},
		Streams{In: strings.NewReader(""), Out: &out, Err: &talk},
		clock,
	); code != exitDone ||
		!strings.Contains(out.String(), "lead, administrator") {
		t.Errorf("%d: %s", code, out.String())
	}
	if code := Run(
		t.Context(),
		[]string{"--data", data, "ledger", "verify"},
		Streams{In: strings.NewReader(""), Out: io.Discard, Err: &talk},
		clock,
	); code != exitDone {
		t.Errorf("the ledger: %d: %s", code, talk.String())
	}
}

// What tells the time zone of a computer is a name or nothing, never a guess.
func TestSystemZone(t *testing.T) {
	t.Setenv("TZ", "Pacific/Chatham")
	if got := systemZone(); got != "Pacific/Chatham" {
		t.Errorf("%q", got)
	}
	t.Setenv("TZ", "Nowhere/City")
	if got := systemZone(); got == "Nowhere/City" || got == "Local" {
		t.Errorf("%q", got)
	}
}
