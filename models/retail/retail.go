package retail

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"solewright/assess"
)

// Region groups stores. Its currency and distance unit are the defaults of its stores.
type Region struct {
	Code, Name string
	Currency   string // ISO 4217
}

// Store is one shop. It has no address.
type Store struct {
	Code, Name string
	Region     string
	Zone       string // IANA time zone, for example Europe/Madrid
	Currency   string // ISO 4217
	Unit       string // km or mi, as the store's people speak of distance
	Retired    string // YYYY-MM-DD, empty while open
}

// Role is what an account may do; see the dashboard's table of roles.
type Role string

// The roles.
const (
	Fitter  Role = "fitter"
	Trainee Role = "trainee"
	Manager Role = "manager"
	Trainer Role = "trainer"
	Office  Role = "office"
)

// Roles lists the roles in order of reach.
var Roles = []Role{Fitter, Trainee, Manager, Trainer, Office}

// Marks are the drawings that people are found by on a tablet; each chooses one.
var Marks = []string{"leaf", "wave", "needle", "hill", "fish", "kite", "bell", "cup", "button", "moon", "star"}

// Scope is where an account acts: the fleet, a region or a store.
// The zero Scope is the fleet.
type Scope struct {
	Region, Store string // at most one is set
}

// String writes a scope as fleet, region:CODE or store:CODE.
func (s Scope) String() string {
	switch {
	case s.Store != "":
		return "store:" + s.Store
	case s.Region != "":
		return "region:" + s.Region
	}
	return "fleet"
}

// Grant is a role, and where it is held.
type Grant struct {
	Role  Role
	Scope Scope
}

// String writes a grant as its role and scope: manager@store:E1.
func (g Grant) String() string { return string(g.Role) + "@" + g.Scope.String() }

// Grants returns a role in each of the scopes.
func Grants(role Role, scopes ...Scope) []Grant {
	all := make([]Grant, len(scopes))
	for i, s := range scopes {
		all[i] = Grant{role, s}
	}
	return all
}

// Words writes scopes or grants as words with spaces between.
func Words[T fmt.Stringer](all []T) string {
	words := make([]string, len(all))
	for i, v := range all {
		words[i] = v.String()
	}
	return strings.Join(words, " ")
}

// Staff is one person's account, by code.
type Staff struct {
	Code string
	// Role is the main one, on whose page the person starts, and Scopes where.
	Role   Role
	Scopes []Scope
	// Also are further roles, each with its scope.
	Also    []Grant
	Retired string // YYYY-MM-DD, empty while active
}

// Grants returns everything that the account holds, the main role first.
func (s *Staff) Grants() []Grant { return append(Grants(s.Role, s.Scopes...), s.Also...) }

// Holds reports whether the account holds a role anywhere.
func (s *Staff) Holds(role Role) bool {
	return slices.ContainsFunc(s.Grants(), func(g Grant) bool { return g.Role == role })
}

// Features are what a fitting speaks of instead of brands.
type Features struct {
	Cushioning    string // low, medium, high
	MedialSupport string // none, some, firm
	StackMM       int    // heel stack, 0 unknown
	DropMM        int    // heel to forefoot drop, −1 unknown
	Flexibility   string // stiff, moderate, floppy
	Widths        string // words of the maker, space between
}

// Categories are the kinds of shoe the catalogue knows.
var Categories = []string{"daily", "long run", "tempo", "race", "support", "trail", "track", "walking"}

// ShoeModel is one version of one model of shoe.
type ShoeModel struct {
	ID       assess.UUID
	Brand    string
	Model    string
	Version  string
	Category string // one of Categories, empty while unknown
	GTINs    []string
	AsNew    assess.AsNew
	Features Features
	Released string // YYYY-MM-DD
	Retired  string // YYYY-MM-DD, empty while sold
	// TypedIn says that the model was typed at a bench and waits for the office
	// to link or complete it.
	TypedIn bool
}

// Consent is a runner's permission for one purpose, with the version of the
// text that was agreed to. An empty Date means no consent.
type Consent struct {
	Date, Text string
}

// Runner is a person by opaque code, and nothing else about the person.
type Runner struct {
	Code           string
	TeachingPhotos Consent
	HealthNotes    Consent
	Unit           string // km or mi
	MassBand       string // optional: "under 60", "60-74", "75-89", "90 and over" kg
}

// Foot is one foot as measured at a fitting.
type Foot struct {
	LengthMM, WidthMM int
	// Posture holds the six items of the Foot Posture Index, −2…+2; an item
	// that can't be judged stays unread.
	Posture [6]assess.Value
}

// Fitting is one fitting of a runner.
type Fitting struct {
	ID           assess.UUID
	Store, Staff string
	Runner       string
	At           time.Time
	Foot         [2]Foot
	Gait, GaitBy assess.Value // assess.GaitWords, assess.GaitByWords
	Strike       assess.Value // assess.StrikeWords
	// StrikeBy is "seen" or "index"; StrikeIndex is the strike index in percent
	// of shoe length from the heel, by foot.
	StrikeBy    string
	StrikeIndex [2]assess.Value
	Surfaces    []string // assess.Surfaces
	UsedFor     assess.Value
	WeeklyKM    assess.Value
	// BeforeWear says that the fitting was taken before the old pair's wear was read.
	BeforeWear assess.Value
	OldPair    string // pair_ref of the pair brought in
	Tried      []TriedPair
	ChosenID   assess.UUID
	ChosenSize string
	ChosenPair string // pair_ref of the pair sold
	Referred   bool   // a referral to a clinician was made; nothing else is kept
	Note       string
}

// TriedPair is one pair that was on the feet at a fitting.
type TriedPair struct {
	// Model is of the catalogue; Name is what was typed where it isn't in the list.
	Model   assess.UUID
	Name    string
	Size    string // as on the label
	Felt    string // FeltWords, empty where nothing was said
	Outcome string // OutcomeWords
}

// Sale counts pairs sold.
type Sale struct {
	Store string
	Model assess.UUID
	Batch string
	Month string // YYYY-MM
	Pairs int
}

// Event is something that moves visits: an offer, a race, a closure.
type Event struct {
	Store    string
	From, To string // YYYY-MM-DD, both included
	Word     string
}
