package web

import (
	"fmt"
	"html/template"
	"slices"
	"strings"

	"rinsate/internal/present/words"
	"rinsate/internal/web/kit"
)

// entry is a word of the trade or of this program, explained.
type entry struct {
	Word, Means string
	// Source is where the meaning comes from; empty for words of our own.
	Source string
}

// glossary explains the words that pages use, in the order of the alphabet.
var glossary = []entry{
	{"action level", "The reading above which a sampling point counts as not clean: clean again and sample again.", ""},
	{"adopt", "To put a level, a rule set or the limits of a chart in force, as a record with who did it and since when.", ""},
	{"air and water channels", "Narrow channels that blow air and water over the lens. Most cannot be brushed.", ""},
	{"alert level", "The reading from which on a sampling point counts as near the action level: look for the cause.", ""},
	{
		"area under the curve",
		"How well readings tell two groups apart, such as with and without growth: 1 always, 0.5 no better than a coin.",
		"DeLong et al. 1988",
	},
	{"ATP", "Adenosine triphosphate, which every living cell and most residue of a patient holds. Its light shows residue, not living microbes.", ""},
	{"attested", "Said of an act that somebody vouches for by name, where its record does not show by itself what it says. It stays marked so.", ""},
	{"auxiliary water channel", "The channel of the water jet at the tip, with an inlet of its own. It is easily forgotten.", ""},
	{"average run length", "How many readings a chart takes on average until it signals: long while nothing has changed, short after a change.", "Page 1954"},
	{"balloon channel", "The channel that fills the balloon of an ultrasound endoscope.", ""},
	{"baseline", "The first readings of a stable time. Later ones are compared with it.", ""},
	{"bench", "The page at which samples are taken and read, one scope and one point at a time.", ""},
	{"bias", "How far readings are off on average from what is true or agreed.", "JCGM 200:2012 (VIM), 2.18"},
	{"bioburden", "The living microbes on a device.", "ISO 11139"},
	{"biofilm", "Microbes in a slime that they make, which holds them to a surface and shields them from disinfectant.", ""},
	{"biopsy port", "The opening at the control body through which instruments go in.", ""},
	{"blank", "A control without what is measured. It should read close to zero.", ""},
	{"borescope", "A thin camera with which the inside of a channel is looked at.", ""},
	{"censored", "Said of a reading of which only a bound is known, such as one at the detection limit.", ""},
	{"CFU", "Colony-forming units: how many colonies grow from a sample.", ""},
	{"channel", "A tube in the endoscope: instrument, suction, air, water, auxiliary water, elevator-wire, balloon.", ""},
	{"check", "What a meter reads of something known: a light source, an unused device. It says whether the meter may be trusted, and until when.", ""},
	{
		"checkpoint",
		"A short signed text: how many records there were in the ledger and what they came to as one number. Whoever keeps a copy can show later whether " +
			"anything before it was changed.",
		"",
	},
	{
		"cleaning verification",
		"All samples of a scope after one cleaning, and what they say together: has cleaning removed the residue? It comes before disinfection and replaces " +
			"nothing. Also cleaning test.",
		"ANSI/AAMI ST91:2021",
	},
	{"clinical soil", "What a procedure leaves on and in the scope: blood, mucus, stool, tissue.", ""},
	{"coefficient of variation", "The standard deviation as a share of the mean.", ""},
	{"commitment", "A hash of a number with a secret salt. It ties a record to a patient without telling whom.", ""},
	{"competency", "What a person has shown to be able to do with a model of scope.", ""},
	{"confidence interval", "The range of values with which the readings agree. With few readings it is wide.", ""},
	{"contact time", "How long a disinfectant has to act on every surface. Also exposure time.", ""},
	{"control", "A known material that is read to check a meter: positive, or a blank.", ""},
	{"control body", "The part of the endoscope in the hand, with the wheels and the ports.", ""},
	{"control chart", "Readings in the order of time with limits that hold while nothing changes.", "ISO 7870-1"},
	{
		"control rule",
		"A rule by which controls refuse a check, such as 1-3s (one control beyond 3 standard deviations) or 2-2s (two in a row beyond 2 on the same side). " +
			"The limits that the maker states judge always.",
		"J. O. Westgard and others, Clin Chem 1981;27:493-501",
	},
	{"correction", "A record that takes the place of another one and says why. Both stay visible.", ""},
	{"critical water", "Water treated so far that it is fit for the last rinse.", "ANSI/AAMI ST108:2023"},
	{"culture", "Letting grow what lives in a sample, to count and name it. It takes days.", ""},
	{"CUSUM", "A chart that adds up how far readings are off the baseline, and so finds small changes that stay.", "Page 1954"},
	{"delayed reprocessing", "What the manufacturer wants done when cleaning did not begin in time, such as a longer soak.", ""},
	{"detection limit", "The smallest value that a meter or a test tells from nothing.", ""},
	{"disinfectant", "The product that kills microbes on the cleaned scope, used as its label says.", ""},
	{"distal cap", "The cover at the tip of a duodenoscope, fixed or taken off after each use.", ""},
	{"distal end", "The tip that goes into the patient.", ""},
	{"double disinfection", "High-level disinfection twice in a row.", ""},
	{"drying cabinet", "A cabinet that blows filtered air through the channels while the scope hangs in it.", ""},
	{"duplicate", "A second reading close to a level, or of the same sample. Both stay on record.", ""},
	{"elevator recess", "The place around the lever at the tip of a duodenoscope that bends instruments; hard to clean.", ""},
	{"elevator-wire channel", "The fine channel of the wire that moves the elevator.", ""},
	{
		"emergency use",
		"A use of a scope whose answer was no, because the patient could not wait: with who decided and why. The scope goes on hold when it is back.",
		"",
	},
	{"entered late", "Said of a record that was written well after it happened. Both times are kept.", ""},
	{"equivalence", "Two lots or meters differ by less than a margin that was stated before. Not the same as: no difference was found.", "Schuirmann 1987"},
	{"EWMA", "A chart of a running average in which the latest readings weigh most.", "Roberts 1959"},
	{"exposure window", "The time in which a scope may have carried something from one patient to the next.", ""},
	{"false signal", "A signal when nothing has changed. Limits are set for how many of them a month are acceptable.", ""},
	{"first test", "The cleaning verification after the first cleaning of a cycle. It alone shows how well that cleaning went.", ""},
	{"flush-brush-flush", "A way to sample a channel: flush, pull a brush through, flush again.", "FDA/CDC/ASM protocol 2018"},
	{"forest plot", "A picture with one line for each effect and its interval.", ""},
	{"funnel plot", "Shares over the action level against how many readings stand behind them, within limits of chance.", "Spiegelhalter 2005"},
	{"gauge study", "How much of the variation of readings comes from the meter and from who uses it. Also gauge R&R.", "ISO 22514-7"},
	{"hang time", "How long a scope may wait in storage before it is reprocessed again. Also shelf life or storage interval.", ""},
	{"high-concern organism", "A microbe that may make a patient ill and is not to be found after disinfection.", "FDA/CDC/ASM protocol 2018"},
	{"high-level disinfection", "Disinfection that kills all microbes but large numbers of bacterial spores.", "CDC 2008"},
	{
		"high-risk endoscope",
		"A scope whose construction or use makes an infection more likely, such as a duodenoscope or a bronchoscope.",
		"ANSI/AAMI ST91:2021",
	},
	{"hold", "The statement that a scope must not be used, with a reason. Also quarantine.", ""},
	{"IFU", "The instructions for use of a manufacturer. They go before everything that is shown here.", ""},
	{
		"in doubt",
		"Read with a meter that was not shown to be in order: its check failed, and this was read after the last good check before or before the next good one.",
		"",
	},
	{"in reprocessing", "The state of a scope between a use and being ready for use.", ""},
	{"index patient", "The patient with whom an investigation of an infection begins.", ""},
	{"indicator organism", "A microbe that shows which step failed: cleaning, rinsing, or storage.", ""},
	{"instrument channel", "The channel through which instruments go. Also biopsy channel.", ""},
	{"judgement", "What a reading means, with the level, the rules and the meter by which it was judged.", ""},
	{"kit", "The swab or bottle with its reagent with which a sample is taken. It belongs to one meter system.", ""},
	{"leak test", "Air pressure shows whether the scope lets in fluid. It comes before the scope is immersed.", ""},
	{"ledger", "The list of all records of the site, in the order in which they were written. Records are added and never changed or deleted.", ""},
	{"level", "An alert or action level. It holds for one meter system, one kit and one kind of sampling point.", ""},
	{"lift", "To end a hold, once what it asks for is done, with a reason and the signatures that it takes.", ""},
	{"limit", "What a value is compared with: of a chart, of a clock, of a control. Not the same as a level.", ""},
	{"liquid chemical sterilization", "Sterilization by soaking in a chemical, for devices that stand no heat.", ""},
	{"loaner", "A scope that belongs to somebody else, for a time. It comes without a history. Also loan scope.", ""},
	{"look-back", "Finding the patients on whom a scope was used in a window of time.", ""},
	{"lot", "All kits of one make, by the number on the box.", ""},
	{"low-concern organism", "A microbe of the skin or the surroundings that seldom makes ill.", "FDA/CDC/ASM protocol 2018"},
	{"manual cleaning", "Washing, brushing and flushing by hand. Nothing that comes after it can make up for it.", ""},
	{"margin", "The largest ratio of new to old readings that a level can bear. The facility decides it before anything is read.", ""},
	{"MEC", "Minimum effective concentration of a disinfectant. Also minimum recommended concentration.", ""},
	{"meter", "The instrument that shows RLU.", ""},
	{"meter system", "Meters and kits that count on one scale. Readings of two systems are never compared.", ""},
	{"mixed model", "A calculation that tells apart how much scope, person, lot and meter add to the variation.", ""},
	{"moderate-concern organism", "A microbe of the mouth that seldom makes ill.", "FDA/CDC/ASM protocol 2018"},
	{"neutralizer", "What stops a disinfectant in a sample, so that it does not go on killing what is to be counted.", ""},
	{"not known", "The state of a scope of which too little is on record to say more. It must not be used.", ""},
	{
		"nothing against it here",
		"The answer about a scope where cleaning, leak test or disinfection is kept elsewhere: nothing on record speaks against it, and that place releases it.",
		"",
	},
	{"on hold", "The state of a scope that must not be used until somebody lifts the hold. Also quarantined.", ""},
	{"on trial", "The state of a site before a lead and infection prevention have signed its start: paper decides, and every answer says so.", ""},
	{"operating characteristic", "How likely a rule is to notice a state, for every state that may be.", ""},
	{"out of service", "The state of a scope that is away for repair or no longer used.", ""},
	{"outcome", "What a reading means: OK, alert, action, void or not judged.", ""},
	{"outer distal end", "The outside of the tip, a sampling point.", ""},
	{"over the action level", "Said of a reading above the action level: the point is not clean.", ""},
	{"paper decides", "The answer about a scope during a trial when nothing on record speaks against it. It is no yes.", ""},
	{"passkey", "A key on a device that signs a person in without a password. The device checks who holds it.", "Web Authentication Level 2"},
	{"patient-ready", "Said of a scope that has been through every step and is ready for use.", ""},
	{"percentile", "The value below which a share of the readings lies: nine of ten for the 90th.", ""},
	{"PIN", "A short number that opens a bench together with a badge, or a session that is locked.", ""},
	{"point-of-use treatment", "The first wipe and flush at the patient's side, before residue dries. Also bedside clean.", ""},
	{"positive release", "Letting a scope go only when its result is known.", ""},
	{"profile", "A small file that says how the columns and times of a file to be imported are written.", ""},
	{"proof", "A few hashes that show that a record is in the ledger of a checkpoint.", "RFC 6962"},
	{"protocol", "How a point is sampled: what must be at hand, the acts in order, volumes and times.", ""},
	{"provisional", "Said of limits that rest on few readings and were not adopted.", ""},
	{"random selection", "Scopes chosen by chance for a periodic cleaning verification. Whoever has the record can repeat the choice.", ""},
	{"re-test", "A cleaning verification after a further cleaning of the same cycle. It never hides the test before it.", ""},
	{"ready for use", "The state of a scope that may be used, until the time that is shown.", ""},
	{"recall", "Taking a lot or a device out of use because something may be wrong with it.", ""},
	{"record", "One entry of the ledger: what happened, when, by whom, and when it was written.", ""},
	{"release check", "The answer to: may this scope be used on a patient now, until when, and if not, why not.", ""},
	{"reprocessing cycle", "Everything that is done to a scope from the end of one use to the next use. Also decontamination cycle.", ""},
	{
		"reprocessor",
		"What disinfects endoscopes by itself, with or without cleaning them before. Also automated endoscope reprocessor (AER), endoscope washer-disinfector (EWD).",
		"",
	},
	{"request", "The wish of a person for a cleaning verification of one scope.", ""},
	{"reuse life", "For how many days a disinfectant may be used again after it was opened or mixed.", ""},
	{"rinsate", "The fluid that comes back out of a channel, in which what it rinsed off is measured.", ""},
	{"RLU", "Relative light units: what a meter shows. They count on a scale of their own for each meter system and kit.", ""},
	{"ROC curve", "For every level, how many bad ones it would find against how many good ones it would stop.", ""},
	{"root", "One hash that stands for all records of the ledger. It changes when any of them does.", "RFC 6962"},
	{"rule set", "The facility's own rules, in editions. Each rule says where it comes from and whether the facility has verified it.", ""},
	{"run rule", "A pattern of readings within the limits that still speaks for a change.", "Nelson 1984"},
	{"sample", "What was taken from one sampling point at one time, with one kit.", ""},
	{"sampling point", "A place on a model where cleanliness is checked, such as the elevator recess or a channel.", ""},
	{"semi-critical", "Said of devices that touch mucous membranes: they need at least high-level disinfection.", "Spaulding 1968"},
	{"sensitivity", "The share of what is bad that a test finds.", ""},
	{"series", "The readings of one point of one scope with one meter system and one kit, in the order of time.", ""},
	{"shrunk", "Pulled towards no difference, the more the fewer readings speak for it, so that few readings alone make nothing stand out.", ""},
	{
		"signal",
		"A sign that the readings of one point of one scope have moved from what they were. A reason to look, not a verdict on a scope or a person.",
		"",
	},
	{"signature", "Showing again who one is, for an act that counts, with the meaning of the act.", ""},
	{
		"slip",
		"A mistake that its author puts right within ten minutes and before anything else is done with the scope. Both versions stay on record.",
		"",
	},
	{"small numbers", "With few readings a share jumps by chance. Read the interval, not the percentage.", ""},
	{"solution", "One filling of a disinfectant, with the day on which it was opened or mixed and the tests of its strength.", ""},
	{"sources of variation", "Where differences between readings come from: scope, person, lot, meter.", ""},
	{"specificity", "The share of what is good that a test lets pass.", ""},
	{"step", "One act of a reprocessing cycle, such as the leak test, the manual cleaning or the drying.", ""},
	{"sterility", "The absence of all living microbes. No test here shows it.", "ISO 11139"},
	{
		"stock-take",
		"A list of scopes that two people sign over photographed paper, so that a scope of which nothing is on record can be ready before its next use.",
		"",
	},
	{"suction channel", "The channel through which fluid is sucked off; it runs through the whole scope.", ""},
	{"surveillance culture", "A culture that is taken from time to time to see whether reprocessing works.", ""},
	{
		"take back",
		"To say that a record does not count, by a void or a milder correction. What speaks against a scope takes two people who had no part in it.",
		"",
	},
	{"target", "What a control should read, with limits and where they come from.", ""},
	{
		"target level",
		"The best of three bands for cultures of scopes; above it come alert and action.",
		"from memory: French instruction DGOS/PF2/DGS/VSS1/2016/220",
	},
	{"total viable count", "All microbes that grow from a sample, whatever they are.", ""},
	{"UDI", "Unique device identification: the number of a device and of its make, as a barcode.", ""},
	{"umbilical cord", "The part between the control body and the light source. Also universal cord.", ""},
	{"use", "A procedure with a scope on a patient.", ""},
	{"utility water", "Water fit for flushing and washing, not for the last rinse.", "ANSI/AAMI ST108:2023"},
	{"verified", "Said of a rule whose source somebody at the facility has looked up and agreed with.", ""},
	{"visual inspection", "Looking at every part of the scope with light and magnification. It comes in every cycle.", ""},
	{"void", "Said of a sample or reading that does not count, with the reason. It stays on record.", ""},
}

// Anchor is the name of a word's place in the glossary.
func (e entry) Anchor() string { return kit.Anchor(e.Word) }

// glossed is an entry in the terms that people read; its place stays the same.
type glossed struct {
	entry
	Word, Means string
}

// meansIn explains a word in terms. The other terms' word for the same stays the other one.
func (e entry) meansIn(t words.Terms) string {
	means, word := t.Sentence(e.Means), t.Sentence(e.Word)
	if word == e.Word {
		return means
	}
	return strings.ReplaceAll(means, "Also "+word, "Also "+e.Word)
}

// glossaryIn is the glossary in terms, in the order of the alphabet.
func glossaryIn(t words.Terms) []glossed {
	all := make([]glossed, len(glossary))
	for i, e := range glossary {
		all[i] = glossed{e, t.Sentence(e.Word), e.meansIn(t)}
	}
	slices.SortStableFunc(all, func(a, b glossed) int { return strings.Compare(strings.ToLower(a.Word), strings.ToLower(b.Word)) })
	return all
}

// explained returns the entry of a word.
func explained(word string) (entry, bool) {
	i := slices.IndexFunc(glossary, func(e entry) bool { return e.Word == word })
	if i < 0 {
		return entry{}, false
	}
	return glossary[i], true
}

// termAs shows a word with a dotted underline that explains itself when it is pressed. Each word may be
// shown so once on a page, since a browser finds the explanation by its id. A word that the glossary
// does not have is a mistake.
//
// shown is another form of the word, such as its plural.
func termAs(t words.Terms, word, shown string) (template.HTML, error) {
	e, ok := explained(word)
	if !ok {
		return "", fmt.Errorf("the glossary does not explain %q", word)
	}
	id := "term-" + kit.Anchor(word)
	return template.HTML(
		fmt.Sprintf(
			`<span class="term"><button type="button" popovertarget="%s">%s</button><span id="%s" popover role="note">%s</span></span>`, //nolint:gosec // escaped
			id,
			template.HTMLEscapeString(t.Sentence(shown)),
			id,
			template.HTMLEscapeString(e.meansIn(t)),
		),
	), nil
}
