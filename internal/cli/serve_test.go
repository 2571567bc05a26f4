package cli

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"io"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"rinsate/internal/domain/policy"
	"rinsate/internal/store/storetest"
	"rinsate/internal/web"
	"rinsate/internal/web/kit"
)

func TestAddresses(t *testing.T) {
	t.Parallel()
	loop := &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: 8420}
	all := &net.TCPAddr{IP: net.IPv4zero, Port: 8420}
	for _, c := range []struct {
		reason string
		base   string
		at     net.Addr
		tls    bool
		want   string // empty: refused
	}{
		{"nothing is said", "", loop, false, "http://localhost:8420"},
		{"nothing is said, with a certificate", "", loop, true, "https://localhost:8420"},
		{"a name of this computer", "http://127.0.0.1:8420", loop, false, "http://127.0.0.1:8420"},
		{"a proxy with a path", "https://pc-7.example/rinsate/", loop, false, "https://pc-7.example/rinsate"},
		{"a proxy on another computer", "https://pc-7.example", all, false, "https://pc-7.example"},
		{"passwords in the clear to other computers", "", all, false, ""},
		{"passwords in the clear under a name", "http://pc-7.example", loop, false, ""},
		{"a certificate for everybody", "https://pc-7.example:8420", all, true, "https://pc-7.example:8420"},
		{"no scheme", "pc-7.example", loop, false, ""},
		{"another scheme", "ftp://pc-7.example", loop, false, ""},
		{"a query", "https://pc-7.example/?a=b", loop, false, ""},
		{"a password in it", "https://a:b@pc-7.example/", loop, false, ""},
	} {
		got, err := serving{base: c.base}.address(c.at, c.tls)
		if (err == nil) != (c.want != "") || err == nil && got.String() != c.want {
			t.Errorf("%s: got %v, %v; want %q", c.reason, got, err, c.want)
		}
	}
}

// lines is where a command writes while a test reads.
type lines struct {
	mu sync.Mutex
	b  bytes.Buffer
	// more is closed when something is written.
	more chan struct{}
	// opened, when there is one, is what writing waits for.
	opened chan struct{}
}

func (l *lines) Write(p []byte) (int, error) {
	if l.opened != nil {
		<-l.opened
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.more != nil {
		close(l.more)
		l.more = nil
	}
	return l.b.Write(p)
}

// wait waits until a command has written what a pattern finds, and returns its last group. The command
// must not end before.
func (l *lines) wait(t *testing.T, pattern string, ended <-chan int) string {
	t.Helper()
	wanted := regexp.MustCompile(pattern)
	for {
		l.mu.Lock()
		if l.more == nil {
			l.more = make(chan struct{})
		}
		more, found := l.more, wanted.FindStringSubmatch(l.b.String())
		l.mu.Unlock()
		if found != nil {
			return found[len(found)-1]
		}
		select {
		case <-more:
		case code := <-ended:
			t.Fatalf("it ended with %d: %s", code, l.String())
		}
	}
}

// present is when the commands of these tests run.
var present = storetest.NewClock().Now()

// clock is their clock.
var clock = storetest.Ticking(0)

func (l *lines) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// certificate makes a certificate for localhost and returns the names of its files and what trusts it.
func certificate(t *testing.T) (cert, key string, pool *x509.CertPool) {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber:          big.NewInt(1),
		DNSNames:              []string{"localhost"},
		NotBefore:             present.Add(-time.Hour),
		NotAfter:              present.Add(time.Hour),
		IsCA:                  true,
		BasicConstraintsValid: true,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, private.Public(), private)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	cert, key = filepath.Join(dir, "pc-7.crt"), filepath.Join(dir, "pc-7.key")
	for name, block := range map[string]*pem.Block{cert: {Type: "CERTIFICATE", Bytes: der}, key: {Type: "PRIVATE KEY", Bytes: secret}} {
		if err := os.WriteFile(name, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	pool = x509.NewCertPool()
	pool.AppendCertsFromPEM(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}))
	return cert, key, pool
}

// rulesFile is a file with the rule set to start from.
func rulesFile(t *testing.T) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "rules.yaml")
	if err := os.WriteFile(name, policy.Preset(), 0o600); err != nil {
		t.Fatal(err)
	}
	return name
}

// The whole way: a new site, served with TLS from files, asked over HTTP/2, ended in good order.
func TestServe(t *testing.T) {
	t.Parallel()
	data := filepath.Join(t.TempDir(), "data")
	run := func(ctx context.Context, err io.Writer, args ...string) int {
		return Run(ctx, append([]string{"--data", data}, args...), Streams{In: strings.NewReader(""), Out: io.Discard, Err: err}, clock)
	}
	var talk lines
	if code := run(
		t.Context(),
		&talk,
		"init",
		"--site",
		"S1",
		"--name",
		"Test site",
		"--zone",
		"Europe/Berlin",
		"--rules",
		rulesFile(t),
		"--by",
		"L-01",
	); code != exitDone {
		t.Fatalf("init: %d, %s", code, talk.String())
	}
	cert, key, pool := certificate(t)
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan int, 1)
	go func() {
		ended <- run(ctx, &talk, "serve", "--listen", "127.0.0.1:0", "--tls-cert", cert, "--tls-key", key)
	}()
	address := talk.wait(t, `pages at (https://localhost:\d+)`, ended)
	transport := &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool, Time: func() time.Time { return present }}, ForceAttemptHTTP2: true}
	defer transport.CloseIdleConnections()
	r, err := (&http.Client{Transport: transport}).Get(address + "/ready/none")
	if err != nil {
		t.Fatal(err)
	}
	body, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close() //nolint:errcheck // read to its end
	if r.StatusCode != http.StatusNotFound || r.ProtoMajor != 2 || r.Header.Get("Strict-Transport-Security") == "" ||
		!strings.Contains(string(body), "not known") {
		t.Errorf("status %d over HTTP/%d, %v", r.StatusCode, r.ProtoMajor, r.Header)
	}
	stop()
	if code := <-ended; code != exitDone {
		t.Errorf("it ended with %d: %s", code, talk.String())
	}
}

// The invented hospital's pages are open while its year is recorded; the list is printed when it is
// complete.
func TestServeDemo(t *testing.T) {
	t.Parallel()
	data := filepath.Join(t.TempDir(), "data")
	talk, out := lines{}, lines{opened: make(chan struct{})} // who may sign in is printed before the year begins
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan int, 1)
	go func() {
		ended <- Run(ctx, []string{"--data", data, "demo", "--cycles", "300", "--listen", "127.0.0.1:0"}, Streams{
			In: strings.NewReader(""), Out: &out,
			Err: &talk,
		}, storetest.Ticking(0))
	}()
	address := talk.wait(t, `pages at (http://localhost:\d+)`, ended)
	get := func(path string) string {
		t.Helper()
		r, err := http.Get(address + path)
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close() //nolint:errcheck // read to its end
		body, err := io.ReadAll(r.Body)
		if err != nil {
			t.Fatal(err)
		}
		return string(body)
	}
	if page := get("/wall"); !strings.Contains(page, "The invented year is being recorded: ") {
		t.Errorf("the wall at the beginning:\n%s", page)
	}
	close(out.opened)
	out.wait(t, `(rinsate --data \S+ ledger export)`, ended)
	for _, part := range []string{"Sign in as", "morning list before coffee", "Due to be sampled", "Last decisions"} {
		if !strings.Contains(out.String(), part) {
			t.Errorf("it does not print %q:\n%s", part, out.String())
		}
	}
	if page := get("/wall"); strings.Contains(page, "data-filling") || !strings.Contains(page, "D-04") {
		t.Errorf("the wall at the end:\n%s", page)
	}
	http.DefaultClient.CloseIdleConnections()
	stop()
	if code := <-ended; code != exitDone || strings.Contains(talk.String(), "before the year was complete") {
		t.Errorf("it ended with %d: %s", code, talk.String())
	}
}

// Whoever ends the demo early is told what is left behind.
func TestDemoEndedEarly(t *testing.T) {
	t.Parallel()
	data := filepath.Join(t.TempDir(), "data")
	talk, out := lines{}, lines{opened: make(chan struct{})} // who may sign in is printed before the year begins
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan int, 1)
	go func() {
		ended <- Run(ctx, []string{"--data", data, "demo", "--listen", "127.0.0.1:0"}, Streams{In: strings.NewReader(""), Out: &out, Err: &talk},
			storetest.Ticking(0))
	}()
	talk.wait(t, `(pages at)`, ended)
	stop()
	close(out.opened)
	if code := <-ended; code != exitDone || !strings.Contains(talk.String(), "ended before the year was complete; "+data) ||
		strings.Contains(out.String(), "Last decisions") {
		t.Errorf("it ended with %d: %s", code, talk.String())
	}
}

func TestServeRefusals(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"serve", "--tls-cert", "pc-7.crt"}, "needed together"},
		{[]string{"demo", "--listen", "0.0.0.0:8420", "--cycles", "300"}, "served to this computer only"},
	} {
		data := filepath.Join(t.TempDir(), "data")
		var talk lines
		if c.args[0] == "serve" {
			Run(
				t.Context(),
				[]string{"--data", data, "init", "--site", "S1", "--name", "Test site", "--zone", "Europe/Berlin", "--rules", rulesFile(t), "--by", "L-01"},
				Streams{In: strings.NewReader(""), Out: io.Discard, Err: &talk},
				clock,
			)
		}
		code := Run(t.Context(), append([]string{"--data", data}, c.args...), Streams{In: strings.NewReader(""), Out: io.Discard, Err: &talk}, clock)
		if code != exitUsage || !strings.Contains(talk.String(), c.says) {
			t.Errorf("%v: code %d, %s", c.args, code, talk.String())
		}
	}
}

// A further name that no browser could ask for is refused before anything is served.
func TestFurtherNames(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"https://pc-7.example", "pc-7.example:8420", "*.example", "a/b", "", " "} {
		err := servingCommands{}.serve(t.Context(), nil, serving{hosts: []string{name}}, web.Options{})
		if err == nil || !strings.Contains(err.Error(), "such as pc-7.example") {
			t.Errorf("%q: %v", name, err)
		}
	}
	for _, name := range []string{"pc-7.example", "upstream_3", "::1", "192.0.2.7"} {
		if shape := kit.HostFault(name); shape != "" {
			t.Errorf("%q is refused: %s", name, shape)
		}
	}
}
