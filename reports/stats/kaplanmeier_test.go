package stats

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestKaplanMeierReproducesPublishedCurves(t *testing.T) {
	const (
		princeton = "[P2] G. Rodríguez, Princeton, Kaplan–Meier notes"
		survfit   = "[R] R 4.2.2 survival 3.5-3 survfit, conf.type as named"
	)
	sixMP := readPublished(t, "freireich_6mp.csv").where("treat", "6-MP").exits("time", "cens")
	maintained := readPublished(t, "aml.csv").where("x", "Maintained").exits("time", "status")
	type point struct {
		time                float64
		surv, se, low, high string
	}
	for _, tt := range []struct {
		name   string
		x      []Exit
		ci     CurveCI
		source string
		want   []point
	}{
		{"6-MP, survival and Greenwood error", sixMP, LogLog, princeton, []point{
			{6, ".857", ".0764", "", ""},
			{7, ".807", ".0869", "", ""},
			{10, ".753", ".0963", "", ""},
			{13, ".690", ".1068", "", ""},
			{16, ".627", ".1141", "", ""},
			{22, ".538", ".1282", "", ""},
			{23, ".448", ".1346", "", ""},
		}},
		{"6-MP, log-log limits", sixMP, LogLog, survfit, []point{
			{6, ".857143", "", ".619718", ".951552"},
			{7, ".806723", "", ".563147", ".922809"},
			{10, ".752941", "", ".503200", ".889362"},
			{13, ".690196", "", ".431610", ".849066"},
			{16, ".627451", "", ".367511", ".804912"},
			{22, ".537815", "", ".267779", ".746791"},
			{23, ".448179", "", ".188052", ".680143"},
		}},
		{"leukaemia with maintenance, survival and error", maintained, LogLog, survfit, []point{
			{9, ".909091", ".0866784", "", ""},
			{13, ".818182", ".1162913", "", ""},
			{18, ".715909", ".1396650", "", ""},
			{23, ".613636", ".1526323", "", ""},
			{31, ".490909", ".1641933", "", ""},
			{34, ".368182", ".1626689", "", ""},
			{48, ".184091", ".1534927", "", ""},
		}},
		{"leukaemia with maintenance, log limits", maintained, Log, survfit, []point{
			{9, ".90909091", "", "0.754133845", "1"},
			{13, ".81818182", "", "0.619248987", "1"},
			{18, ".71590909", "", "0.488426287", "1"},
			{23, ".61363636", "", "0.376867060", "0.99915760"},
			{31, ".49090909", "", "0.254859951", "0.94558496"},
			{34, ".36818182", "", "0.154877118", "0.87526068"},
			{48, ".18409091", "", "0.035917898", "0.94352577"},
		}},
		{"leukaemia with maintenance, plain limits", maintained, Plain, survfit, []point{
			{9, ".90909091", "", "0.739204333", "1"},
			{13, ".81818182", "", "0.590255059", "1"},
			{18, ".71590909", "", "0.442170779", "0.98964740"},
			{23, ".61363636", "", "0.314482492", "0.91279024"},
			{31, ".49090909", "", "0.169096201", "0.81272198"},
			{34, ".36818182", "", "0.049356661", "0.68700698"},
			{48, ".18409091", "", "0.000000000", "0.48493116"},
		}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			km, err := KaplanMeier(tt.x, KMOptions{Conf: 0.95, CI: tt.ci})
			if err != nil {
				t.Fatal(err)
			}
			if len(km.Curve) != len(tt.want) {
				t.Fatalf("%d steps, want %d", len(km.Curve), len(tt.want))
			}
			var rows []printed
			for i, w := range tt.want {
				p := km.Curve[i]
				if p.Time != w.time {
					t.Fatalf("step %d at %g, want %g", i, p.Time, w.time)
				}
				for what, pair := range map[string]struct {
					got  float64
					want string
				}{"S": {p.Surv, w.surv}, "SE": {p.SE.V, w.se}, "low": {p.Low.V, w.low}, "high": {p.High.V, w.high}} {
					if pair.want != "" {
						rows = append(rows, printed{fmt.Sprintf("%s at %g", what, w.time), pair.got, pair.want, tt.source})
					}
				}
			}
			reproduce(t, rows)
		})
	}
}

func TestKaplanMeierMedians(t *testing.T) {
	const survfit = "[R] R 4.2.2 survival 3.5-3 quantile(survfit, .5)"
	const never = -1
	leukaemia := readPublished(t, "freireich_6mp.csv")
	aml := readPublished(t, "aml.csv")
	sixMP, control := leukaemia.where("treat", "6-MP").exits("time", "cens"), leukaemia.where("treat", "control").exits("time", "cens")
	kept, stopped := aml.where("x", "Maintained").exits("time", "status"), aml.where("x", "Nonmaintained").exits("time", "status")
	for _, tt := range []struct {
		name              string
		x                 []Exit
		ci                CurveCI
		median, low, high float64
		source            string
	}{
		{"6-MP, log-log", sixMP, LogLog, 23, 13, never, survfit},
		{"6-MP, log", sixMP, Log, 23, 16, never, survfit},
		{"6-MP, plain", sixMP, Plain, 23, 13, never, survfit},
		{"control, log-log", control, LogLog, 8, 4, 11, survfit},
		{"control, log", control, Log, 8, 4, 12, survfit},
		{"control, plain", control, Plain, 8, 4, 11, survfit},
		{"maintained, log", kept, Log, 31, 18, never, survfit},
		{"maintained, log-log", kept, LogLog, 31, 13, never, survfit},
		{"maintained, plain", kept, Plain, 31, 18, 48, survfit},
		{"not maintained, log", stopped, Log, 23, 8, never, survfit},
		{"not maintained, log-log", stopped, LogLog, 23, 5, 33, survfit},
		{"not maintained, plain", stopped, Plain, 23, 8, 33, survfit},
		{
			"exactly a half from 3 to the next event at 6: the midpoint",
			[]Exit{{1, 1, 0}, {2, 1, 0}, {3, 1, 0}, {4, 0, 1}, {5, 0, 1}, {6, 1, 0}},
			Log, 4.5, 2, never, survfit,
		},
		{
			"exactly a half from 3 to the end of the data at 9: the midpoint",
			[]Exit{{1, 1, 0}, {2, 1, 0}, {3, 1, 0}, {4, 0, 1}, {5, 0, 1}, {9, 0, 1}},
			Log, 6, 2, never, survfit,
		},
		{"never below a half", []Exit{{100, 1, 30}, {200, 0, 5}}, LogLog, never, never, never, "definition"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			km, err := KaplanMeier(tt.x, KMOptions{Conf: 0.95, CI: tt.ci})
			if err != nil {
				t.Fatal(err)
			}
			for what, pair := range map[string]struct {
				got  Float
				want float64
			}{"median": {km.Median, tt.median}, "low": {km.MedianLow, tt.low}, "high": {km.MedianHigh, tt.high}} {
				want := Some(pair.want)
				if pair.want == never {
					want = None
				}
				if pair.got != want {
					t.Errorf("%s = %v, want %v (%s)", what, pair.got, want, tt.source)
				}
			}
			if !km.MedianHigh.OK && km.Why == "" {
				t.Error("a limit is missing without a reason")
			}
		})
	}
}

func TestKaplanMeierEdges(t *testing.T) {
	t.Run("no event leaves an empty curve, not an error", func(t *testing.T) {
		km, err := KaplanMeier([]Exit{{100, 0, 4}}, KMOptions{Conf: 0.95})
		if err != nil {
			t.Fatal(err)
		}
		if km.N != 4 || km.Events != 0 || len(km.Curve) != 0 || km.Median.OK {
			t.Errorf("got %+v", km)
		}
		b, err := json.Marshal(km)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(string(b), `"curve":[]`) || !strings.Contains(string(b), `"median":null`) {
			t.Errorf("JSON is %s", b)
		}
	})
	t.Run("where survival reaches nought there is no interval", func(t *testing.T) {
		km, err := KaplanMeier([]Exit{{100, 1, 0}, {200, 1, 0}}, KMOptions{Conf: 0.95})
		if err != nil {
			t.Fatal(err)
		}
		last := km.Curve[len(km.Curve)-1]
		if last.Surv != 0 || last.SE.OK || last.Low.OK || last.High.OK {
			t.Errorf("last step is %+v", last)
		}
	})
	t.Run("events come before censorings at the same distance", func(t *testing.T) {
		km, err := KaplanMeier([]Exit{{100, 1, 1}}, KMOptions{Conf: 0.95})
		if err != nil {
			t.Fatal(err)
		}
		if km.Curve[0].AtRisk != 2 || km.Curve[0].Surv != 0.5 {
			t.Errorf("first step is %+v, want half of two", km.Curve[0])
		}
	})
	t.Run("a horizon beyond the data is named", func(t *testing.T) {
		km, err := KaplanMeier([]Exit{{100, 1, 0}, {200, 0, 1}}, KMOptions{Conf: 0.95, Tau: 300})
		if err != nil {
			t.Fatal(err)
		}
		if km.RMST.OK || !strings.Contains(km.Why, "rmst: the last pair leaves, still sound, at 200") {
			t.Errorf("rmst %v, why %q", km.RMST, km.Why)
		}
	})
	for _, tt := range []struct {
		name string
		x    []Exit
		opt  KMOptions
		want error
	}{
		{"nothing to count", nil, KMOptions{Conf: 0.95}, ErrEmpty},
		{"exits of nobody", []Exit{{100, 0, 0}}, KMOptions{Conf: 0.95}, ErrEmpty},
		{"a percentage for a level", []Exit{{100, 1, 0}}, KMOptions{Conf: 95}, ErrBadInput},
		{"an unknown scale", []Exit{{100, 1, 0}}, KMOptions{Conf: 0.95, CI: "arcsine"}, ErrBadInput},
		{"a negative horizon", []Exit{{100, 1, 0}}, KMOptions{Conf: 0.95, Tau: -1}, ErrBadInput},
		{"a negative time", []Exit{{-100, 1, 0}}, KMOptions{Conf: 0.95}, ErrBadInput},
		{"a negative count", []Exit{{100, -1, 2}}, KMOptions{Conf: 0.95}, ErrBadInput},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := KaplanMeier(tt.x, tt.opt); !errors.Is(err, tt.want) {
				t.Errorf("got %v, want %v", err, tt.want)
			}
		})
	}
}

func TestKaplanMeierLaws(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rightCensored(t, "group")
		opt := KMOptions{Conf: 0.95, CI: rapid.SampledFrom([]CurveCI{LogLog, Log, Plain}).Draw(t, "scale"), Tau: 5}
		km, err := KaplanMeier(x, opt)
		if err != nil {
			t.Fatal(err)
		}
		again, err := KaplanMeier(rearranged(x, rapid.Uint64().Draw(t, "seed")), opt)
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(km, again) {
			t.Fatalf("split and shuffled rows change the result:\n%+v\n%+v", km, again)
		}
		before := 1.0
		for _, p := range km.Curve {
			if !(p.Surv < before && p.Surv >= 0) {
				t.Fatalf("S rises or leaves 0–1: %v after %v", p.Surv, before)
			}
			before = p.Surv
			if p.Low.OK && !(0 <= p.Low.V && p.Low.V <= p.Surv && p.Surv <= p.High.V && p.High.V <= 1) {
				t.Fatalf("limits %v, %v do not hold %v", p.Low.V, p.High.V, p.Surv)
			}
		}

		const scale = 8 // a power of two, so that times scale exactly
		far := make([]Exit, len(x))
		for i, e := range x {
			far[i] = Exit{e.Time * scale, e.Events, e.Censored}
		}
		opt.Tau *= scale
		scaled, err := KaplanMeier(far, opt)
		if err != nil {
			t.Fatal(err)
		}
		for i, p := range scaled.Curve {
			if p.Time != scale*km.Curve[i].Time || p.Surv != km.Curve[i].Surv || p.Low != km.Curve[i].Low {
				t.Fatalf("another unit of distance changes the curve at %g", p.Time)
			}
		}
		if scaled.Median.V != scale*km.Median.V || scaled.MedianLow.V != scale*km.MedianLow.V {
			t.Fatalf("another unit of distance moves the median %v to %v", km.Median, scaled.Median)
		}
		if math.Abs(scaled.RMST.V-scale*km.RMST.V) > 1e-12*scaled.RMST.V {
			t.Fatalf("another unit of distance changes the mean %v to %v", km.RMST, scaled.RMST)
		}
	})
}
