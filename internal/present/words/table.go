package words

import (
	"rinsate/internal/domain/level"
	"rinsate/internal/domain/quality"
	"rinsate/internal/domain/reading"
	"rinsate/internal/domain/trend"
	"rinsate/internal/domain/turnaround"
	"rinsate/internal/record"
)

// Key names what has words. It is no word itself and is neither stored nor shown.
type Key string

// Keys of what is marked. Those of values of the domain are a kind and the value.
const (
	// Answers of the gate.
	Ready   Key = Key("state " + turnaround.Ready)
	InWork  Key = Key("state " + turnaround.InWork)
	Held    Key = Key("state " + turnaround.Held)
	Out     Key = Key("state " + turnaround.Out)
	Unknown Key = Key("state " + turnaround.Unknown)

	// Outcomes of values and rounds.
	Below    Key = Key("outcome " + reading.Below)
	Alert    Key = Key("outcome " + reading.Alert)
	Action   Key = Key("outcome " + reading.Action)
	Void     Key = Key("outcome " + reading.Void)
	None     Key = Key("outcome " + reading.None)
	NotAsked Key = Key("outcome " + level.Spared)

	// How far people are with an alarm.
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
	Recalled     Key = "lot recalled"
	Expired      Key = "lot expired"
	InDate       Key = "lot in date"
	OutOfService Key = "service out"
	NotYet       Key = "service not yet"
	InService    Key = "service in"

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
	Ready:   {us: "ready", shape: "✓", class: "ready"},
	InWork:  {us: "in work", shape: "…", class: "work"},
	Held:    {us: "held", shape: "■", class: "held"},
	Out:     {us: "out of service", usBrief: "out", shape: "−", class: "out"},
	Unknown: {us: "unknown", shape: "○", class: "unknown"},

	Below:    {us: "below", shape: "✓", class: "ready"},
	Alert:    {us: "alert", shape: "▲", class: "alert"},
	Action:   {us: "action", shape: "✗", class: "action"},
	Void:     {us: "void", shape: "∅", plain: "/", class: "unknown"},
	None:     {us: "no result", usBrief: "none", shape: "○", class: "unknown"},
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

	Recalled:     {us: "recalled", shape: "■", class: "held"},
	Expired:      {us: "expired", shape: "−", class: "out"},
	InDate:       {us: "in date", shape: "✓", class: "ready"},
	OutOfService: {us: "out of service", shape: "−", class: "out"},
	NotYet:       {us: "not yet in service", shape: "○", class: "unknown"},
	InService:    {us: "in service", shape: "✓", class: "ready"},

	Added:   {us: "added", shape: "+", class: "added"},
	Removed: {us: "removed", shape: "−", class: "removed"},
	Changed: {us: "changed", shape: "≠", class: "altered"},

	Verified:    {us: "verified", shape: "✓", class: "ready"},
	NotVerified: {us: "not verified", shape: "○", class: "unknown"},
	Done:        {us: "done", shape: "✓", class: "ready"},
	Missing:     {us: "missing", shape: "○", class: "unknown"},
	LookAt:      {us: "look at it", shape: "△", class: "alert"},

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
