package retail_test

import (
	"bytes"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"solewright/assess"
	"solewright/models/retail"
)

// roundTrip writes v as CSV and as JSON and reads both back.
func roundTrip[T any](t *testing.T, f retail.Format[T], v T) {
	t.Helper()
	text := f.CSV.Append(f.CSV.AppendHeader(nil), &v)
	d, err := f.CSV.Decoder(bytes.NewReader(text))
	if err != nil {
		t.Fatalf("header of %s: %v", text, err)
	}
	var got T
	if err := d.Decode(&got); err != nil {
		t.Fatalf("%s: %v", text, err)
	}
	if diff := cmp.Diff(v, got, cmpopts.EquateEmpty()); diff != "" {
		t.Errorf("CSV changed it (-want +got):\n%s", diff)
	}
	if err := d.Decode(&got); !errors.Is(err, io.EOF) {
		t.Errorf("after the row: %v, want the end", err)
	}
	body := f.JSON.Append(nil, &v)
	back, err := f.JSON.Decode(body)
	if err != nil {
		t.Fatalf("%s: %v", body, err)
	}
	if diff := cmp.Diff(v, back, cmpopts.EquateEmpty()); diff != "" {
		t.Errorf("JSON changed it (-want +got):\n%s", diff)
	}
}

func TestRecordsComeBackAsTheyWere(t *testing.T) {
	at := time.Date(2026, 10, 5, 14, 3, 0, 0, time.UTC)
	roundTrip(t, retail.Regions, retail.Region{Code: "NORTH", Name: "North, \"upper\"", Currency: "EUR"})
	roundTrip(t, retail.Stores, retail.Store{
		Code: "S-0001", Name: "Río 5", Region: "NORTH", Zone: "Europe/Madrid", Currency: "EUR", Unit: "km", Retired: "2026-01-31",
	})
	roundTrip(t, retail.StoreLines, retail.StoreLine{
		Store:      retail.Store{Code: "S-0001", Name: "Río 5", Region: "NORTH", Zone: "Europe/Madrid", Currency: "EUR", Unit: "km"},
		RegionName: "The north",
	})
	roundTrip(t, retail.StaffList, retail.Staff{
		Code: "F-1", Role: retail.Manager, Scopes: []retail.Scope{{}, {Region: "NORTH"}, {Store: "S-0001"}},
		Also: []retail.Grant{{Role: retail.Trainer}, {Role: retail.Fitter, Scope: retail.Scope{Store: "S-0002"}}},
	})
	roundTrip(t, retail.Runners, retail.Runner{
		Code: "R-1", TeachingPhotos: retail.Consent{Date: "2026-10-05", Text: "v2"}, Unit: "mi", MassBand: "90 and over",
	})
	roundTrip(t, retail.Fittings, retail.Fitting{
		ID: assess.UUID{1, 6: 0x70, 8: 0x80}, Store: "S-0001", Staff: "F-1", Runner: "R-1", At: at,
		Foot: [2]retail.Foot{
			{LengthMM: 262, WidthMM: 101, Posture: [6]assess.Value{assess.Of(-2), assess.Of(0), assess.Of(2)}},
			{LengthMM: 264},
		},
		Gait: assess.Of(2), GaitBy: assess.Of(1), Strike: assess.Of(0), StrikeBy: "index",
		StrikeIndex: [2]assess.Value{assess.Of(12), assess.Unread}, Surfaces: []string{"road", "trail"},
		UsedFor: assess.Of(0), WeeklyKM: assess.Of(40), BeforeWear: assess.Of(1), Referred: true, Note: "left, second try",
		Tried: []retail.TriedPair{
			{Model: assess.UUID{5, 6: 0x70, 8: 0x80}, Size: "42 2/3: D", Felt: "narrow", Outcome: "put-back"},
			{Name: "Ondrell Fenline, 2+ & more", Outcome: "chosen"},
		},
	})
	roundTrip(t, retail.Sales, retail.Sale{Store: "S-0001", Model: assess.UUID{9}, Month: "2026-10", Pairs: 0})
	roundTrip(t, retail.Events, retail.Event{Store: "S-0001", From: "2026-10-01", To: "2026-10-01", Word: "offer"})
	for name, drop := range map[string]int{"no drop": 0, "some drop": 8, "an unknown drop": retail.UnknownDrop} {
		t.Run("a model with "+name, func(t *testing.T) {
			roundTrip(t, retail.ShoeModels, retail.ShoeModel{
				ID: assess.UUID{5}, Brand: "Velm", Model: "Arc", Version: "3", Category: "long run", GTINs: []string{"06291041500213"},
				AsNew:    assess.AsNew{Built: assess.ColSet(0).With(assess.MidMedial), Plate: true, Tilt: assess.Of(-50)},
				Features: retail.Features{Cushioning: "high", StackMM: 33, DropMM: drop, Widths: "standard, wide"},
				Released: "2025-03-01",
			})
		})
	}
}

func TestTriedPairsAreRefused(t *testing.T) {
	for name, text := range map[string]string{
		"a part too few":              "chosen:narrow:42",
		"no shoe":                     "chosen:narrow:42:",
		"a shoe of spaces":            "chosen:narrow:42:++",
		"an outcome that isn't":       "sold:narrow:42:Velm",
		"a feeling that isn't":        "chosen:hurts:42:Velm",
		"an escape that is broken":    "chosen::42:Velm%2",
		"a control character":         "chosen::42:Velm%00",
		"a size longer than a label":  "chosen::" + strings.Repeat("4", 25) + ":Velm",
		"a name longer than any name": "chosen::42:" + strings.Repeat("V", 81),
	} {
		if got, ok := retail.ParseTried(text); ok {
			t.Errorf("%s: %q was read as %+v", name, text, got)
		}
	}
}

func TestWhatIsWrongIsNamed(t *testing.T) {
	for _, tt := range []struct{ name, body, pointer string }{
		{"a zone that isn't", `{"store":"S","region":"N","zone":"Mars/Olympus","currency":"EUR","unit":"km"}`, "/zone"},
		{"a currency in small letters", `{"store":"S","region":"N","zone":"UTC","currency":"eur","unit":"km"}`, "/currency"},
		{"a unit that isn't", `{"store":"S","region":"N","zone":"UTC","currency":"EUR","unit":"ft"}`, "/unit"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := retail.Stores.JSON.Decode([]byte(tt.body))
			errs, ok := errors.AsType[assess.FieldErrors](err)
			if !ok || len(errs) != 1 || errs[0].Field != tt.pointer {
				t.Errorf("got %v, want one error at %s", err, tt.pointer)
			}
		})
	}
	if _, err := retail.Events.JSON.Decode([]byte(`{"store":"S","from":"2026-10-02","to":"2026-10-01","word":"race"}`)); err == nil {
		t.Error("an event that ends before it begins was taken")
	}
}

func TestGTINs(t *testing.T) {
	for _, tt := range []struct {
		name, gtin string
		ok         bool
		source     string
	}{
		{"the example of the check digit calculator", "6291041500213", true, "GS1, How to calculate a check digit manually, GTIN-13 example; from memory"},
		{"a wrong check digit", "6291041500214", false, "the same, last digit changed"},
		{"two digits changed round", "6291041502013", false, "the same, two digits changed round"},
		{"too short", "629104", false, "GS1 General Specifications: 8, 12, 13 or 14 digits"},
		{"letters", "62910415002I3", false, "GS1 General Specifications: digits only"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := retail.ShoeModels.JSON.Decode([]byte(`{"brand":"Velm","model":"Arc","gtins":["` + tt.gtin + `"]}`))
			if ok := err == nil; ok != tt.ok {
				t.Errorf("taken: %v, want %v (%s): %v", ok, tt.ok, tt.source, err)
			}
		})
	}
}

func TestScopesAreReadAsTheyAreWritten(t *testing.T) {
	for _, s := range []retail.Scope{{}, {Region: "NORTH"}, {Store: "S-0001"}} {
		if got, ok := retail.ParseScope(s.String()); !ok || got != s {
			t.Errorf("%s was read as %v, %v", s, got, ok)
		}
	}
	for _, bad := range []string{"", "all", "store:", "region", "shop:S-1"} {
		if s, ok := retail.ParseScope(bad); ok {
			t.Errorf("%q was read as %v", bad, s)
		}
	}
}
