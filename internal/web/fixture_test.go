package web

import (
	"context"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"sync"
	"testing"
	"time"

	"rinsate/internal/base/ledger"
	"rinsate/internal/base/unit"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	rules "rinsate/internal/domain/policy"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/sampling"
	"rinsate/internal/domain/scope"
	"rinsate/internal/identity"
	"rinsate/internal/record"
	"rinsate/internal/store/sqlite"
	"rinsate/internal/store/storetest"
)

// The scopes of the site that the tests serve, one in each state.
const (
	readyScope   = "D-01"
	inWorkScope  = "D-02" // a sample of it is open and two more are due
	heldScope    = "D-03"
	awayScope    = "D-04"
	unknownScope = "L 7/2" // on loan; a tag that has to be escaped in addresses
	inUseScope   = "G-06"
	// overdueScope was treated at the point of use and left: the clock for its cleaning has run out.
	overdueScope = "D-07"
)

// barcode is what a scanner reads on the ready scope.
const barcode = "0104012345678901"

// awkward is a reason that a page must show as it is: markup, and a word wider than a telephone.
const awkward = `seen <b>dent</b> & scratches, see photograph_2026-03-02_distal_end_left_side_after_the_second_cleaning.jpg`

// site is a desk with a small department, a clock that the test moves, and the pages.
type site struct {
	testing.TB
	desk   *desk.Desk
	clock  *storetest.Clock
	server *Server
	// line is where the site is served; nil when it is not.
	line *line

	mu sync.Mutex
	// tokens are those of the sessions that there are.
	tokens map[access.Role]string
}

// line is a listener whose connections can be cut.
type line struct {
	net.Listener
	mu   sync.Mutex
	open []net.Conn
}

func (l *line) Accept() (net.Conn, error) {
	c, err := l.Listener.Accept()
	if err == nil {
		l.mu.Lock()
		defer l.mu.Unlock()
		l.open = append(l.open, c)
	}
	return c, err
}

// cut ends every connection that there was so far, also those of live pages.
func (l *line) cut() {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, c := range l.open {
		c.Close() //nolint:errcheck // many are closed already
	}
	l.open = nil
}

// newSite makes a site with the small department that lives under an address. Nobody listens there;
// see serve.
func newSite(tb testing.TB, clock *storetest.Clock, base string) *site {
	tb.Helper()
	return newSiteIn(tb, clock, base, record.TermsUS)
}

// newSiteIn is newSite in the terms of the United States or of the United Kingdom.
func newSiteIn(tb testing.TB, clock *storetest.Clock, base string, terms record.Terms) *site {
	tb.Helper()
	b := newRegistered(tb, clock, terms)
	b.department()
	b.live(base)
	return b
}

// newRegistered makes a site that is set up, on trial, and has nothing else on record. It has no pages yet.
func newRegistered(tb testing.TB, clock *storetest.Clock, terms record.Terms) *site {
	tb.Helper()
	body := record.SiteBody{Code: "S1", Name: "Test site", Zone: "Europe/Berlin", Origin: "test.example/s1", Terms: terms}
	db, err := sqlite.Folder(tb.TempDir()).Create(tb.Context(), body, clock.Now)
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		if err := db.Close(); err != nil {
			tb.Error(err)
		}
	})
	b := &site{TB: tb, desk: desk.New(db), clock: clock, tokens: map[access.Role]string{}}
	b.register()
	return b
}

// live gives a site its pages under an address.
func (b *site) live(base string) {
	tb, clock := b.TB, b.clock
	tb.Helper()
	address, err := url.Parse(base)
	if err != nil {
		tb.Fatal(err)
	}
	cheap := access.Cost{Memory: 8, Passes: 1, Lanes: 1} // how slow a hash is is not the question here
	b.server, err = New(b.desk, Options{
		Base: address, Clock: clock.Now, Log: slog.New(slog.NewTextHandler(tb.Output(), nil)), Demo: true, Door: identity.NewDoor(b.desk.DB, cheap),
	})
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(b.server.imports.end)
}

// serve makes a site and serves it on this computer until the test ends.
func serve(tb testing.TB, clock *storetest.Clock) *site {
	tb.Helper()
	return serveAs(tb, clock, "127.0.0.1")
}

// serveAs serves a site by a name of this computer; passkeys need one that is no IP address.
func serveAs(tb testing.TB, clock *storetest.Clock, name string) *site {
	tb.Helper()
	return serveSite(tb, name, func(base string) *site { return newSite(tb, clock, base) })
}

// serveSite serves the site that build returns for its address.
func serveSite(tb testing.TB, name string, build func(base string) *site) *site {
	tb.Helper()
	listener, err := new(net.ListenConfig).Listen(tb.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		tb.Fatal(err)
	}
	_, port, err := net.SplitHostPort(listener.Addr().String())
	if err != nil {
		tb.Fatal(err)
	}
	b := build("http://" + net.JoinHostPort(name, port))
	b.line = &line{Listener: listener}
	ctx, stop := context.WithCancel(context.WithoutCancel(tb.Context()))
	ended := make(chan error, 1)
	go func() { ended <- b.server.Run(ctx, b.line, nil) }()
	tb.Cleanup(func() {
		stop()
		if err := <-ended; err != nil && err != http.ErrServerClosed { //nolint:errorlint // Serve returns it bare
			tb.Error(err)
		}
	})
	return b
}

// password is that of every account of the site.
const password = "crumb lantern oboe drift"

// Whoever asks in a test has a role, or is one of these.
const (
	nobody access.Role = ""
	// locked is a technician whose session is locked.
	locked access.Role = "locked"
	// newcomer has a password that somebody else chose.
	newcomer access.Role = "newcomer"
)

// codeOf is the code of the account with a role.
func codeOf(role access.Role) string { return "R-" + string(role) }

// session returns the token of a session of somebody, who gets an account the first time.
func (b *site) session(role access.Role) string {
	b.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	if token := b.tokens[role]; token != "" {
		return token
	}
	ctx := context.WithoutCancel(b.Context())
	account := identity.NewAccount{Code: codeOf(role), Name: "Kim Muster", Roles: []access.Role{role}, Password: password}
	by := account.Code
	switch role {
	case locked:
		account.Roles = []access.Role{access.Technician}
	case newcomer:
		account.Roles, by = []access.Role{access.Technician}, "A-01"
	}
	roles := []access.Role{access.Administrator, access.InfectionPrevention} // who may give every role
	maker := access.Recognised(by, roles, access.ByPassword, access.Times{Seen: b.at(), Proved: b.at()})
	if _, _, err := b.server.Door.AddAccount(ctx, identity.Entry{Actor: maker}, account); err != nil {
		b.Fatal(err)
	}
	pass, err := b.server.Door.SignIn(ctx, account.Code, password, identity.Source{Address: "192.0.2.7", Agent: "test"})
	if err != nil {
		b.Fatal(err)
	}
	if role == locked {
		if err := b.server.Door.Lock(ctx, pass.Token); err != nil {
			b.Fatal(err)
		}
	}
	b.tokens[role] = pass.Token
	return pass.Token
}

// signIn gives the browser of a page a session of somebody with a role.
func signIn(b *site, p *page, role access.Role) {
	p.Helper()
	p.cookie(b.server.CookieName(), b.session(role))
}

// answer is what came back, read to its end.
type answer struct {
	status int
	header http.Header
	body   string
}

// ask requests a page without a browser, from somebody with a role or from nobody.
func (b *site) ask(method, path string, role access.Role, change ...func(*http.Request)) answer {
	b.Helper()
	r := httptest.NewRequestWithContext(b.Context(), method, b.server.Base.Scheme+"://"+b.server.Base.Host+path, nil)
	if role != nobody {
		r.AddCookie(&http.Cookie{Name: b.server.CookieName(), Value: b.session(role)})
	}
	for _, f := range change {
		f(r)
	}
	w := httptest.NewRecorder()
	if r.Context().Value(leavesAtOnce{}) == nil {
		b.server.Handler().ServeHTTP(w, r)
	} else {
		ctx, leave := context.WithCancel(r.Context())
		defer leave()
		b.server.Handler().ServeHTTP(leaver{w, leave}, r.WithContext(ctx))
	}
	return answer{w.Code, w.Header(), w.Body.String()}
}

// leavesAtOnce in the context of a request says that its reader leaves when the page has begun.
type leavesAtOnce struct{}

// leaver hears a page only up to its first word.
type leaver struct {
	*httptest.ResponseRecorder
	leave func()
}

func (l leaver) Flush() {
	l.ResponseRecorder.Flush()
	l.leave()
}

func (b *site) at() unit.Instant { return b.clock.At() }

// do runs one act of somebody and returns its receipt.
func (b *site) do(by string, act func(*desk.Work, desk.Entry) (desk.Receipt, error)) (r desk.Receipt) {
	b.Helper()
	err := b.desk.As(access.Scribe()).Do(context.WithoutCancel(b.Context()), func(w *desk.Work) (err error) {
		r, err = act(w, desk.Entry{By: by})
		return err
	})
	if err != nil {
		b.Fatal(err)
	}
	return r
}

// The people of the site: technicians, who lead, a nurse.
var people = []record.PersonBody{
	{
		Code: "T-01",
		Role: "technician",
	},
	{Code: "T-02", Role: "technician"},
	{Code: "L-01", Role: "lead"},
	{Code: "L-02", Role: "lead"},
	{Code: "N-01", Role: "procedure room"},
	{Code: "H-01", Role: "infection prevention"},
}

// routine are the points of the duodenoscopes that are sampled after every use.
var routine = []scope.PointKind{scope.OuterDistalEnd, scope.ElevatorRecess, scope.InstrumentLumen}

// register writes rules, models, scopes, people, meters, lots and levels.
func (b *site) register() {
	b.Helper()
	since := b.at()
	all := func(w *desk.Work, e desk.Entry) (r desk.Receipt, err error) {
		var failed error
		keep := func(err error) {
			if failed == nil {
				failed = err
			}
		}
		_, _, err = w.SettingUp().AdoptRules(e, desk.Adoption{At: since, Name: "general.yaml", Text: rules.Preset()})
		keep(err)
		for _, m := range []scope.Model{duodenoscope, gastroscope} {
			_, _, err = w.SettingUp().RegisterModel(e, since, m)
			keep(err)
		}
		for _, tag := range []string{readyScope, inWorkScope, heldScope, awayScope, unknownScope, inUseScope, overdueScope} {
			i := scope.Instrument{
				Tag:       tag,
				Serial:    "SN " + tag,
				Model:     duodenoscope.Name,
				Owner:     scope.Own,
				Location:  "Endoscopy 2, second floor",
				InService: since,
			}
			switch tag {
			case readyScope:
				i.Barcode = barcode
			case unknownScope:
				i.Owner, i.Location = scope.Loan, ""
			case inUseScope:
				i.Model = gastroscope.Name
			}
			_, err = w.SettingUp().RegisterInstrument(e, since, i)
			keep(err)
		}
		for _, p := range people {
			_, err = w.SettingUp().RegisterPerson(e, since, p)
			keep(err)
		}
		for _, role := range access.Roles { // those who sign in here had their roles before the start
			_, err = w.SettingUp().RegisterPerson(e, since, record.PersonBody{Code: codeOf(role), Role: string(role)})
			keep(err)
		}
		for _, code := range []string{"M-1", "M-2"} {
			_, err = w.SettingUp().RegisterMeter(e, since, quality.Meter{Code: code, System: "A"})
			keep(err)
		}
		for lot, days := range map[string]int{"7": 90, "8": 9, "9": 0} {
			_, err = w.SettingUp().RegisterLot(e, since, quality.Lot{Kit: "K", Lot: lot, Expires: since.Add(time.Duration(days) * 24 * time.Hour)})
			keep(err)
		}
		for _, p := range routine {
			_, err = w.SettingUp().AdoptLevel(e, reading.Level{
				System: "A", Kit: "K", Point: p, Analyte: reading.ATP, Unit: reading.RLU, Alert: 100, Action: 200, Comparison: reading.Over,
				Source: "test", Edition: "1", Adopter: "L-01", Adopted: since,
			})
			keep(err)
		}
		for _, t := range []quality.Target{
			{System: "A", Kind: quality.Positive, Material: "light", Low: 900, High: 1100},
			{System: "A", Kind: quality.Blank, Material: "empty chamber", High: 5},
		} {
			t.Source, t.Edition, t.Adopter, t.Adopted = "test", "1", "L-01", since
			_, err = w.AtMeters().RegisterTarget(e, t)
			keep(err)
		}
		return r, failed
	}
	b.do("L-01", all)
}

var (
	duodenoscope = scope.Model{
		Name: "D1", Kind: scope.Duodenoscope, Risk: scope.HighRisk, Elevator: true, OuterDiameter: 13, SampledLength: 100,
		Channels: []scope.Channel{
			{Kind: scope.InstrumentChannel, Diameter: 4.2, Length: 1350, Brushable: true, Flushable: true, Cleaning: "brush and flush"},
			{Kind: scope.ElevatorWireChannel, Diameter: 0.85, Length: 1500, Sealed: true},
		},
	}
	gastroscope = scope.Model{
		Name: "G1", Kind: scope.Gastroscope, Risk: scope.StandardRisk, OuterDiameter: 9.9, SampledLength: 100,
		Channels: []scope.Channel{{Kind: scope.InstrumentChannel, Diameter: 2.8, Length: 1250, Brushable: true, Flushable: true, Cleaning: "brush and flush"}},
	}
)

// department brings every scope into its state. It takes about three hours of the site's clock.
func (b *site) department() {
	b.Helper()
	at := b.clock.Move(time.Minute)
	b.do("T-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		r, v, err := w.AtMeters().CheckMeter(e, desk.Check{Meter: "M-1", Controls: []quality.Control{
			{Kind: quality.Positive, Material: "light", Value: 1000, At: at}, {Kind: quality.Blank, Material: "empty chamber", Value: 2, At: at},
		}})
		if err == nil && v.Outcome != quality.Accepted {
			b.Fatalf("the check of the meter: %+v", v)
		}
		return r, err
	})

	b.use(readyScope)
	b.clean(readyScope)
	for _, p := range routine {
		b.read(b.take(readyScope, p), "30")
	}
	b.finish(readyScope)

	b.use(heldScope)
	b.clean(heldScope)
	b.read(b.take(heldScope, scope.OuterDistalEnd), "30")
	b.read(b.take(heldScope, scope.ElevatorRecess), "250") // over the action level
	b.do("T-02", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		return w.PlaceHold(e, reprocessing.Hold{Scope: heldScope, By: "T-02", Reason: awkward})
	})

	b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		return w.RecordRepair(e, scope.Repair{Scope: awayScope, Sent: b.clock.Move(time.Minute), Fault: "leak at the bending section"}, "")
	})
	b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		return w.Ask(e, sampling.Request{Scope: readyScope, By: "L-01", Reason: "after the visit of the auditors"})
	})

	b.use(overdueScope)
	b.clock.Move(61 * time.Minute) // more than the hour that the rules allow until the cleaning

	b.use(inWorkScope)
	b.clean(inWorkScope)
	b.take(inWorkScope, scope.OuterDistalEnd) // open: its clock runs

	b.do("N-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) {
		return w.RecordUse(e, reprocessing.Use{Scope: inUseScope, Start: b.at()}, inUsePatient)
	})
	b.clock.Move(20 * time.Second)
	// The first cycles are on record: from now on the records decide.
	b.do("L-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) { return w.SettingUp().SignStart(e, "H-01") })
}

// inUsePatient is the number of the patient of the scope that is in use.
const inUsePatient = "MRN-2063"

// patientUse is the record of the use on that patient.
func (b *site) patientUse() string { return b.lastOf(inUseScope, record.Use) }

// use records a use and the steps at its side.
func (b *site) use(tag string) {
	b.Helper()
	u := reprocessing.Use{Scope: tag, Start: b.at(), End: b.clock.Move(30 * time.Minute)}
	b.do("N-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) { return w.RecordUse(e, u, "") })
	b.step(tag, reprocessing.PointOfUse, 2*time.Minute, nil)
	b.step(tag, reprocessing.LeakTest, 2*time.Minute, passed)
}

// clean records the steps up to the samples.
func (b *site) clean(tag string) {
	b.Helper()
	b.step(tag, reprocessing.ManualCleaning, 15*time.Minute, nil)
	b.step(tag, reprocessing.Inspection, 2*time.Minute, passed)
}

// finish records the steps from the disinfection to the cabinet.
func (b *site) finish(tag string) {
	b.Helper()
	b.step(tag, reprocessing.Disinfection, 20*time.Minute, func(s *reprocessing.Step) {
		s.Result, s.Disinfectant, s.DisinfectantLot, s.MEC, s.Contact, s.Coldest, s.HasTemperature = reprocessing.Pass, "opa-0.55", "L9", reprocessing.Pass,
			12*unit.Minute, 21, true
		s.DisinfectantFilled, s.DisinfectantExpires = s.Start.Add(-time.Hour), s.Start.Add(240*time.Hour)
	})
	b.step(tag, reprocessing.Drying, 12*time.Minute, nil)
	b.step(tag, reprocessing.Storage, 0, func(s *reprocessing.Step) { s.Cabinet, s.End = "drying-cabinet", 0 })
}

func passed(s *reprocessing.Step) { s.Result = reprocessing.Pass }

// step records a step that takes d and ends now.
func (b *site) step(tag string, kind reprocessing.StepKind, d time.Duration, fill func(*reprocessing.Step)) {
	b.Helper()
	s := reprocessing.Step{Scope: tag, Kind: kind, Start: b.at(), By: "T-01"}
	s.End = b.clock.Move(d)
	if fill != nil {
		fill(&s)
	}
	b.do("T-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) { return w.RecordStep(e, s) })
}

// take takes a sample in time, up to its activation.
func (b *site) take(tag string, point scope.PointKind) ledger.ID {
	b.Helper()
	s := sampling.Sample{Scope: tag, Point: point, Kit: "K", Lot: "7", By: "T-01", Collected: b.at()}
	if sampling.MethodOf(point) == sampling.Rinsate {
		s.Dipped, s.Flushed = b.clock.Move(10*time.Second), 40
	}
	s.Activated, s.Shaken = b.clock.Move(20*time.Second), 6*unit.Second
	return b.do("T-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) { return w.Collect(e, s) }).Record.ID
}

// read reads a sample.
func (b *site) read(sample ledger.ID, value string) {
	b.Helper()
	v, err := reading.ParseValue(reading.ATP, reading.RLU, value)
	if err != nil {
		b.Fatal(err)
	}
	in := desk.Reading{Sample: sample, Meter: "M-1", Value: v, At: b.clock.Move(15 * time.Second)}
	b.do("T-01", func(w *desk.Work, e desk.Entry) (desk.Receipt, error) { return w.Read(e, in) })
}

// anyRecord returns the id of a record of a scope, the latest.
func (b *site) anyRecord(tag string) (id string) {
	b.Helper()
	err := b.desk.View(b.Context(), func(v desk.View) error {
		lines, err := v.Chronicle(tag, 0, b.at(), 1)
		if err == nil {
			id = lines[0].ID
		}
		return err
	})
	if err != nil {
		b.Fatal(err)
	}
	return id
}

// TestFixture holds the site to what the other tests rely on.
func TestFixture(t *testing.T) {
	t.Parallel()
	b := newSite(t, storetest.NewClock(), "http://test.example")
	want := map[string]reprocessing.State{
		readyScope: reprocessing.Ready, inWorkScope: reprocessing.InReprocessing, heldScope: reprocessing.OnHold, awayScope: reprocessing.OutOfService,
		unknownScope: reprocessing.NotKnown, inUseScope: reprocessing.InReprocessing, overdueScope: reprocessing.InReprocessing,
	}
	err := b.desk.View(t.Context(), func(v desk.View) error {
		board, err := v.Day().Board(b.at())
		if err != nil {
			return err
		}
		due := false
		for _, a := range board {
			if a.State != want[a.Scope] {
				t.Errorf("%s is %s, want %s: %+v", a.Scope, a.State, want[a.Scope], a.Reasons)
			}
			due = due || len(a.Due) > 0
			delete(want, a.Scope)
		}
		if len(want) > 0 {
			t.Errorf("not on the board: %v", want)
		}
		if !due {
			t.Error("nothing is due to be sampled")
		}
		open, err := v.Day().OpenSamples(b.at())
		if err != nil {
			return err
		}
		if len(open) != 1 || open[0].Scope != inWorkScope || open[0].Deadline <= b.at() {
			t.Errorf("open samples: %+v, want one of %s whose clock runs", open, inWorkScope)
		}
		state, err := v.Measuring().MeterState("M-2", b.at())
		if err == nil && state.Condition != quality.Unchecked {
			t.Errorf("M-2: %+v, want unchecked", state)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}
