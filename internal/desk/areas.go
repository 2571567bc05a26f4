package desk

// DayView shows what the day's work needs: the board, what is due, open samples, the bench.
type DayView struct{ View }

// Day shows what the day's work needs: the board, what is due, open samples, the bench.
func (v View) Day() DayView { return DayView{v} }

// NumbersView shows what the readings say: series, signals, failures, sources of variation.
type NumbersView struct{ View }

// Numbers shows what the readings say: series, signals, failures, sources of variation.
func (v View) Numbers() NumbersView { return NumbersView{v} }

// LevelsView shows what levels are derived from and judged by.
type LevelsView struct{ View }

// Studies shows what levels are derived from and judged by.
func (v View) Studies() LevelsView { return LevelsView{v} }

// MetersView shows the meters, their checks and comparisons.
type MetersView struct{ View }

// Measuring shows the meters, their checks and comparisons.
func (v View) Measuring() MetersView { return MetersView{v} }

// RecordsView shows records, how they hang together, and the files of scopes.
type RecordsView struct{ View }

// Records shows records, how they hang together, and the files of scopes.
func (v View) Records() RecordsView { return RecordsView{v} }

// RegistryView shows what is set up: rule sets, levels, models and scopes.
type RegistryView struct{ View }

// Registry shows what is set up: rule sets, levels, models and scopes.
func (v View) Registry() RegistryView { return RegistryView{v} }

// SettingUp is the part of the work that sets a facility up.
type SettingUp struct{ *Work }

// SettingUp is the part of the work that sets a facility up.
func (w *Work) SettingUp() SettingUp { return SettingUp{w} }

// SignalWork is the part of the work that acts on what the readings say.
type SignalWork struct{ *Work }

// OnSignals is the part of the work that acts on what the readings say.
func (w *Work) OnSignals() SignalWork { return SignalWork{w} }

// MeterWork is the part of the work that checks meters and settles what their checks put in doubt.
type MeterWork struct{ *Work }

// AtMeters is the part of the work that checks meters and settles what their checks put in doubt.
func (w *Work) AtMeters() MeterWork { return MeterWork{w} }

// VouchWork is the part of the work that stands for what records do not show by themselves.
type VouchWork struct{ *Work }

// Vouching is the part of the work that stands for what records do not show by themselves.
func (w *Work) Vouching() VouchWork { return VouchWork{w} }

// EmergencyWork is the part of the work with uses that could not wait until the scope was ready.
type EmergencyWork struct{ *Work }

// InEmergency is the part of the work with uses that could not wait until the scope was ready.
func InEmergency(w *Work) EmergencyWork { return EmergencyWork{w} }

// CareWork is the part of the work that looks after the computer and its records.
type CareWork struct{ *Work }

// Care is the part of the work that looks after the computer and its records.
func (w *Work) Care() CareWork { return CareWork{w} }
