package words

import (
	"rinsate/internal/domain/access"
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/reprocessing"
	"rinsate/internal/domain/scope"
	"rinsate/internal/domain/trend"
	"rinsate/internal/record"
)

// Key names what has words. It is no word itself and is neither stored nor shown.
type Key string

// Keys of what is marked. Those of values of the domain are a kind and the value.
const (
	// Answers of the release check.
	Ready          Key = Key("state " + reprocessing.Ready)
	NothingAgainst Key = Key("state " + reprocessing.NothingAgainst)
	InReprocessing Key = Key("state " + reprocessing.InReprocessing)
	OnHold         Key = Key("state " + reprocessing.OnHold)
	OutOfService   Key = Key("state " + reprocessing.OutOfService)
	NotKnown       Key = Key("state " + reprocessing.NotKnown)
	PaperDecides   Key = Key("state " + reprocessing.PaperDecides)

	// Outcomes of values and verifications.
	OK       Key = Key("outcome " + reading.OK)
	Alert    Key = Key("outcome " + reading.Alert)
	Action   Key = Key("outcome " + reading.Action)
	Void     Key = Key("outcome " + reading.Void)
	None     Key = Key("outcome " + reading.None)
	NotAsked Key = Key("outcome " + level.Spared)

	// How far people are with a signal.
	New       Key = Key("life " + trend.LifeNew)
	LookedAt  Key = Key("life " + trend.LifeSeen)
	Explained Key = Key("life " + trend.LifeExplained)
	Closed    Key = Key("life " + trend.LifeClosed)

	// Which way readings went.
	Higher Key = Key("direction " + trend.Higher)
	Lower  Key = Key("direction " + trend.Lower)
	Spread Key = Key("direction " + trend.Spread)

	// Outcomes of a meter's check, and whether a meter may be used.
	Accepted     Key = Key("verdict " + quality.Accepted)
	Warning      Key = Key("verdict " + quality.Warning)
	Refused      Key = Key("verdict " + quality.Rejected)
	Unjudged     Key = Key("verdict " + quality.Unjudged)
	Checked      Key = "meter checked"
	CheckFailed  Key = "meter failed"
	CheckDue     Key = "meter due"
	NeverChecked Key = "meter unchecked"

	// What two lots or meters need, side by side.
	SameLevel   Key = "pair same"
	NewLevel    Key = "pair new"
	TooFewPairs Key = "pair few"

	// Where a share of failures lies.
	OverLimit  Key = "share above"
	UnderLimit Key = "share below"

	// Lots, and things that come into service and leave it.
	Recalled    Key = "lot recalled"
	Expired     Key = "lot expired"
	InDate      Key = "lot in date"
	LeftService Key = "service out"
	NotYet      Key = "service not yet"
	InService   Key = "service in"

	// What differs between two editions.
	Added   Key = "difference added"
	Removed Key = "difference removed"
	Changed Key = "difference changed"

	// Rules and parts of the set-up.
	Verified    Key = "rule verified"
	NotVerified Key = "rule not verified"
	Done        Key = "part done"
	Missing     Key = "part missing"
	LookAt      Key = "part look"

	// What the trade calls otherwise on the two sides.
	Cycle       Key = "term cycle"
	Reprocessor Key = "term reprocessor"
)

// entry is what people read for one key.
type entry struct {
	// us is the word in the United States, uk the one in the United Kingdom where it is another. usBrief and
	// ukBrief are shorter ones for where space is short.
	us, uk, usBrief, ukBrief string
	// shape stands beside the word; plain takes its place on a terminal.
	shape, plain string
	// class is the style that colours it.
	class string
}

// table is what people read.
var table = map[Key]entry{
	Ready:          {us: "ready for use", usBrief: "ready", shape: "✓", class: "ready"},
	NothingAgainst: {us: "nothing against it here", usBrief: "elsewhere", shape: "→", class: "unknown"},
	InReprocessing: {us: "in reprocessing", shape: "…", class: "work"},
	OnHold:         {us: "on hold", shape: "■", class: "hold"},
	OutOfService:   {us: "out of service", usBrief: "out", shape: "−", class: "out"},
	NotKnown:       {us: "not known", shape: "○", class: "unknown"},
	PaperDecides:   {us: "paper decides", shape: "◇", plain: "?", class: "unknown"},

	OK:       {us: "OK", shape: "✓", class: "ready"},
	Alert:    {us: "alert", shape: "▲", class: "alert"},
	Action:   {us: "action", shape: "✗", class: "action"},
	Void:     {us: "void", shape: "∅", plain: "/", class: "unknown"},
	None:     {us: "not judged", shape: "○", class: "unknown"},
	NotAsked: {us: "not needed", shape: "–", class: "unknown"},

	New:       {us: "new", shape: "●", class: "action"},
	LookedAt:  {us: "seen", shape: "◐", class: "alert"},
	Explained: {us: "explained", shape: "◑", class: "ready"},
	Closed:    {us: "closed", shape: "○", class: "unknown"},

	Higher: {us: "higher", shape: "▲", class: "action"},
	Lower:  {us: "lower", shape: "▼", class: "alert"},
	Spread: {us: "spread", shape: "◆", class: "alert"},

	Accepted:     {us: "accepted", shape: "✓", class: "ready"},
	Warning:      {us: "accepted, with a warning", shape: "△", class: "alert"},
	Refused:      {us: "refused", shape: "✗", class: "action"},
	Unjudged:     {us: "not judged", shape: "○", class: "unknown"},
	Checked:      {us: "checked", shape: "✓", class: "ready"},
	CheckFailed:  {us: "failed", shape: "✗", class: "action"},
	CheckDue:     {us: "check due", shape: "△", class: "alert"},
	NeverChecked: {us: "never checked", shape: "○", class: "unknown"},

	SameLevel:   {us: "same level", shape: "✓", class: "ready"},
	NewLevel:    {us: "new level", shape: "▲", class: "action"},
	TooFewPairs: {us: "too few", shape: "○", class: "unknown"},

	OverLimit:  {us: "above its limit", shape: "▲", class: "action"},
	UnderLimit: {us: "below its limit", shape: "▼", class: "alert"},

	Recalled:    {us: "recalled", shape: "■", class: "hold"},
	Expired:     {us: "expired", shape: "−", class: "out"},
	InDate:      {us: "in date", shape: "✓", class: "ready"},
	LeftService: {us: "out of service", shape: "−", class: "out"},
	NotYet:      {us: "not yet in service", shape: "○", class: "unknown"},
	InService:   {us: "in service", shape: "✓", class: "ready"},

	Added:   {us: "added", shape: "+", class: "added"},
	Removed: {us: "removed", shape: "−", class: "removed"},
	Changed: {us: "changed", shape: "≠", class: "altered"},

	Verified:    {us: "verified", shape: "✓", class: "ready"},
	NotVerified: {us: "not verified", shape: "○", class: "unknown"},
	Done:        {us: "done", shape: "✓", class: "ready"},
	Missing:     {us: "missing", shape: "○", class: "unknown"},
	LookAt:      {us: "look at it", shape: "△", class: "alert"},

	stepKey(reprocessing.PointOfUse):     {us: reprocessing.PointOfUse.Words(), uk: "bedside clean"},
	stepKey(reprocessing.Transport):      {us: reprocessing.Transport.Words()},
	stepKey(reprocessing.LeakTest):       {us: reprocessing.LeakTest.Words()},
	stepKey(reprocessing.Soak):           {us: reprocessing.Soak.Words()},
	stepKey(reprocessing.ManualCleaning): {us: reprocessing.ManualCleaning.Words()},
	stepKey(reprocessing.Inspection):     {us: reprocessing.Inspection.Words()},
	stepKey(reprocessing.Verification):   {us: reprocessing.Verification.Words(), usBrief: "cleaning test"},
	stepKey(reprocessing.Disinfection):   {us: reprocessing.Disinfection.Words()},
	stepKey(reprocessing.FinalRinse):     {us: reprocessing.FinalRinse.Words()},
	stepKey(reprocessing.Drying):         {us: reprocessing.Drying.Words()},
	stepKey(reprocessing.Storage):        {us: reprocessing.Storage.Words()},
	stepKey(reprocessing.Issue):          {us: reprocessing.Issue.Words()},

	Cycle:       {us: "reprocessing cycle", uk: "decontamination cycle", usBrief: "cycle", ukBrief: "cycle"},
	Reprocessor: {us: "reprocessor (AER)", uk: "reprocessor (EWD)", usBrief: "AER", ukBrief: "EWD"},

	ownerKey(scope.Own):   {us: scope.Own.Words(), usBrief: "own"},
	ownerKey(scope.Loan):  {us: scope.Loan.Words(), uk: "loan scope"},
	ownerKey(scope.Trial): {us: scope.Trial.Words(), usBrief: "on trial"},

	roleKey(access.Technician):          {us: "technician"},
	roleKey(access.Lead):                {us: "lead"},
	roleKey(access.InfectionPrevention): {us: "infection prevention"},
	roleKey(access.ProcedureRoom):       {us: "procedure room"},
	roleKey(access.Analyst):             {us: "analyst"},
	roleKey(access.Auditor):             {us: "auditor"},
	roleKey(access.Administrator):       {us: "administrator"},

	kindKey(record.Site):         {us: "site"},
	kindKey(record.Model):        {us: "model"},
	kindKey(record.Instrument):   {us: "scope"},
	kindKey(record.Meter):        {us: "meter"},
	kindKey(record.Lot):          {us: "lot"},
	kindKey(record.Person):       {us: "person"},
	kindKey(record.Rules):        {us: "rule set"},
	kindKey(record.Level):        {us: "level"},
	kindKey(record.Use):          {us: "use"},
	kindKey(record.Step):         {us: "step"},
	kindKey(record.Sample):       {us: "sample"},
	kindKey(record.Moment):       {us: "moment of a sample", usBrief: "moment"},
	kindKey(record.Reading):      {us: "reading"},
	kindKey(record.Verification): {us: "cleaning verification", usBrief: "cleaning test"},
	kindKey(record.Hold):         {us: "hold"},
	kindKey(record.Lift):         {us: "lift"},
	kindKey(record.Repair):       {us: "repair"},
	kindKey(record.Request):      {us: "request"},
	kindKey(record.Void):         {us: "void"},
	kindKey(record.Selection):    {us: "random selection", usBrief: "selection"},
	kindKey(record.Import):       {us: "import"},
	kindKey(record.Target):       {us: "target"},
	kindKey(record.Check):        {us: "check of a meter", usBrief: "check"},
	kindKey(record.Suspect):      {us: "readings in doubt", usBrief: "in doubt"},
	kindKey(record.Comparison):   {us: "comparison"},
	kindKey(record.Chart):        {us: "baseline of a series", usBrief: "baseline"},
	kindKey(record.Access):       {us: "account"},
	kindKey(record.Attachment):   {us: "attachment"},
	kindKey(record.Handover):     {us: "handover"},
	kindKey(record.Signal):       {us: "signal"},
	kindKey(record.Erasure):      {us: "erasure"},
	kindKey(record.Patient):      {us: "act on a patient's number", usBrief: "patient's number"},
	kindKey(record.Clock):        {us: "clock"},
	kindKey(record.Attestation):  {us: "attestation"},
	kindKey(record.Restore):      {us: "restore"},
	kindKey(record.Start):        {us: "start"},
	kindKey(record.StockTake):    {us: "stock-take"},

	kindKey(record.Seen): {us: "emergency use seen", usBrief: "seen"},

	Key("account " + record.AccountAdded):    {us: "account made"},
	Key("account " + record.RolesChanged):    {us: "roles changed"},
	Key("account " + record.PasswordChanged): {us: "password set"},
	Key("account " + record.PINChanged):      {us: "PIN set or taken away"},
	Key("account " + record.BadgeChanged):    {us: "badge tied or taken away"},
	Key("account " + record.AccountDisabled): {us: "disabled"},
	Key("account " + record.AccountEnabled):  {us: "enabled"},
	Key("account " + record.AccountReset):    {us: "reset: a one-time code was given out"},
	Key("account " + record.PasskeyAdded):    {us: "passkey added"},
	Key("account " + record.PasskeyRemoved):  {us: "passkey removed"},
}

func stepKey(k reprocessing.StepKind) Key { return Key("step " + k) }
func ownerKey(o scope.Owner) Key          { return Key("owner " + o) }
func roleKey(r access.Role) Key           { return Key("role " + r) }
func kindKey(k record.Kind) Key           { return Key("kind " + k) }
