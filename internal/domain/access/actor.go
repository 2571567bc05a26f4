package access

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"rinsate/internal/base/fault"
	"rinsate/internal/base/unit"
)

// Way is how somebody showed who they are.
type Way string

// The ways. Those of sessions are stored with them: never rename or reuse one, only add.
const (
	ByPassword Way = "password"
	ByPasskey  Way = "passkey"
	ByBadge    Way = "badge" // with its PIN
	ByPIN      Way = "PIN"   // on a bench where the person has signed in
	ByOnce     Way = "one-time code"
	// AtMachine is whoever can open the data folder.
	AtMachine Way = "operator"
	// OnBehalf writes down what others did.
	OnBehalf Way = "on behalf"
)

// Actor is who does something, as far as it is shown. The zero value is nobody, who may do nothing.
//
// There is no way to change one: what somebody may is what their roles were when they were recognised.
type Actor struct {
	code  string
	roles []Role
	way   Way
	times Times
	// bound says of an operator that the roles on record decide what may be done, owes that the person has a password
	// and shows it to sign.
	bound, owes bool
	// shown are those who have just shown who they are to an operator.
	shown []Actor
}

// Recognised is somebody who has a session, or has just shown who they are for one act of somebody else.
func Recognised(code string, roles []Role, way Way, t Times) Actor {
	return Actor{code: code, roles: slices.Clone(roles), way: way, times: t}
}

// Operator is whoever runs a command on the machine that keeps the records, in the name of a person. While a site is set
// up an operator may everything, and being at the machine is the signature; see Bound.
func Operator(code string) Actor { return Actor{code: code, way: AtMachine} }

// AtMachine says whether the actor runs a command on the machine that keeps the records.
func (a Actor) AtMachine() bool { return a.way == AtMachine }

// Bound is an operator who may what the roles of the person allow whom they name, and nothing else: those who share the
// machine keep each other to what each of them is there for. owes says that the person has a password, which they show to
// sign; being at the machine is the signature of those alone who have none.
func (a Actor) Bound(roles []Role, owes bool) Actor {
	if a.way == AtMachine {
		a.roles, a.bound, a.owes = slices.Clone(roles), true, owes
	}
	return a
}

// Having is an operator to whom people have just shown who they are: whoever is named as acting, and a second person.
func (a Actor) Having(shown ...Actor) Actor {
	if a.way == AtMachine {
		a.shown = slices.Concat(a.shown, shown)
	}
	return a
}

// Showed says whether somebody has shown an operator a moment ago who they are.
func (a Actor) Showed(code string, now unit.Instant) bool {
	return slices.ContainsFunc(a.shown, func(s Actor) bool { return s.Is(code) && !s.Vouched() && s.Signs(now) })
}

// Scribe writes down what others did, each in their name: a file that is read in by somebody who may, or the
// invented hospital. It is for those two and never for a page.
func Scribe() Actor { return Actor{way: OnBehalf} }

// Code is the code of the person; empty for nobody and for a scribe.
func (a Actor) Code() string { return a.code }

// Roles are what the person was when they were recognised; none for a scribe, and for an operator who is not bound.
func (a Actor) Roles() []Role { return slices.Clone(a.roles) }

// Is says whether a code is that of the actor.
func (a Actor) Is(code string) bool { return a.code != "" && Key(a.code) == Key(code) }

// OnBehalf says whether the actor writes down what others did.
func (a Actor) OnBehalf() bool { return a.way == OnBehalf }

// Vouched says whether the word of the actor stands for that of others: an operator and a scribe name who
// else agreed, where on a page everybody shows it for themselves.
func (a Actor) Vouched() bool { return a.way == AtMachine || a.way == OnBehalf }

// Has says whether the actor has a permission.
func (a Actor) Has(p Permission) bool {
	return a.Vouched() && !a.bound || a.code != "" && Allows(a.roles, p)
}

// Signs says whether what the actor does at an instant is signed: the person has shown who they are a moment
// ago.
func (a Actor) Signs(now unit.Instant) bool {
	if a.owes {
		return a.Showed(a.code, now)
	}
	return a.Vouched() || a.code != "" && a.times.MaySign(now)
}

// Act is one kind of thing that somebody does, with what it takes.
type Act struct {
	// Name is the name of the function that does it, What in people's words: "lift a hold".
	Name, What string
	// Needs are the permissions that it takes, all of them, and Either those of which it takes one.
	Needs, Either []Permission
	// Anybody may do it, without having signed in; Own says that people do it to what is their own, so that
	// having signed in is enough. An act that says none of all this is nobody's.
	Anybody, Own bool
	// Signed says that it is a signature.
	Signed bool
}

// allows says whether something that has permissions may do the act.
func (act Act) allows(has func(Permission) bool) bool {
	not := func(p Permission) bool { return !has(p) }
	switch {
	case len(act.Needs) == 0 && len(act.Either) == 0:
		return false
	case slices.ContainsFunc(act.Needs, not):
		return false
	}
	return len(act.Either) == 0 || slices.ContainsFunc(act.Either, has)
}

// Roles lists the roles each of which may do the act.
func (act Act) Roles() []Role {
	return slices.DeleteFunc(slices.Clone(Roles), func(r Role) bool {
		return !act.allows(func(p Permission) bool { return Allows([]Role{r}, p) })
	})
}

// May says whether the actor may do something, signed or not.
func (a Actor) May(act Act) bool {
	return act.Anybody || act.Own && a.code != "" || act.allows(a.Has)
}

// Check refuses what the actor may not do, and what is a signature and not signed.
func (a Actor) Check(act Act, now unit.Instant) error {
	switch {
	case !a.May(act):
		return forbidden(act)
	case act.Signed && !a.Signs(now):
		return unsigned()
	}
	return nil
}

func forbidden(act Act) error {
	e := &fault.Error{Code: fault.Forbidden, Message: "to " + act.What + " is not for your roles", Hint: "ask an administrator if you need it"}
	if roles := act.Roles(); len(roles) > 0 {
		e.Hint = "it takes one of the roles: " + Words(roles)
	}
	return e
}

func unsigned() error {
	return &fault.Error{Code: fault.Unsigned, Message: "this is a signature", Hint: "show with your password or PIN that it is you"}
}

// Slip is how long what somebody has just written may be taken back or corrected without a signature, as long
// as nothing else was recorded since of the same scope (common practice).
const Slip = 10 * time.Minute

// Entered is a record, as far as it decides who may take it back or put another in its place.
type Entered struct {
	// By is the code of its author, By what act it came.
	By  string
	Act Act
	// Recorded is when it was written.
	Recorded unit.Instant
	// Followed says that something else of the same scope was recorded since.
	Followed bool
	// Anybody says that whoever may do its act may take it back, since that makes nothing better.
	Anybody bool
}

// day are the permissions of the day's work, whose records their authors take back themselves. What describes
// the facility or is a signature takes somebody who answers for the records.
var day = []Permission{RecordStep, PlaceHold, CheckMeter}

// own says whether the actor takes back a record as its author.
func (a Actor) own(e Entered) bool {
	return a.Is(e.By) && !e.Act.Signed && a.May(e.Act) && slices.ContainsFunc(e.Act.Needs, func(p Permission) bool { return slices.Contains(day, p) })
}

// MayTakeBack says whether the actor may take a record back, signed or not: people what they wrote themselves
// in the day's work, and whoever may void records what anybody wrote.
func (a Actor) MayTakeBack(e Entered) bool {
	return a.Has(VoidRecord) || a.own(e) || e.Anybody && a.May(e.Act)
}

// TakeBackSigned says whether taking a record back is a signature at an instant: always, but for a slip of
// one's own.
func (a Actor) TakeBackSigned(e Entered, now unit.Instant) bool {
	return !a.Is(e.By) || e.Act.Signed || e.Followed || now.Sub(e.Recorded) >= Slip || now < e.Recorded
}

// CheckTakeBack refuses to take back what the actor may not, and what is a signature and not signed.
func (a Actor) CheckTakeBack(e Entered, now unit.Instant) error {
	switch {
	case !a.MayTakeBack(e):
		message := "to take back what you recorded here is not for your roles"
		if !a.Is(e.By) {
			message = "this was recorded by " + cmp.Or(e.By, "somebody who is not named")
		}
		return &fault.Error{Code: fault.Forbidden, Message: message, Hint: "only that person or a lead can take it back"}
	case a.TakeBackSigned(e, now) && !a.Signs(now):
		return &fault.Error{
			Code: fault.Unsigned, Message: "this is a signature",
			Hint: fmt.Sprintf("show with your password or PIN that it is you; without that people take back or correct only what they recorded "+
				"themselves in the last %d minutes, before anything else of its scope", int(Slip.Minutes())),
		}
	}
	return nil
}
