package assess

import (
	"regexp"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestEveryRuleHasItsSentenceInEveryLanguage(t *testing.T) {
	for _, lang := range Languages() {
		sentences := in(lang).sentences
		known := map[string]bool{}
		for _, r := range DefaultRules().Rules {
			known[r.Code] = true
			if sentences[r.Code] == "" {
				t.Errorf("%s: no sentence for %s", lang, r.Code)
			}
		}
		for code := range sentences {
			if !known[code] {
				t.Errorf("%s: a sentence for %s, which no rule finds", lang, code)
			}
		}
	}
}

func TestEveryCheckHasItsLabelAndHelpInEveryLanguage(t *testing.T) {
	for _, lang := range Languages() {
		for c := range NumCols {
			label, help := Label(c, lang), Help(c, lang)
			if (label != "") != Columns[c].Check || (help != "") != Columns[c].Check {
				t.Errorf("%s: %v has label %q and help %q", lang, c, label, help)
			}
		}
	}
}

func TestSentences(t *testing.T) {
	const source = "the catalogue's own words"
	photo := func(deg, u int) func(*Reading) {
		return func(r *Reading) {
			s := &r.Shoe[Right]
			s[Tilt], s[TiltU], s[TiltBy], s[Stand] = Of(deg), Of(u), Of(ByPhoto), Of(Doubtful)
		}
	}
	with := func(f Foot, c Col, v Value) func(*Reading) { return func(r *Reading) { r.Set(f, c, v) } }
	for _, tc := range []struct {
		code, lang string
		change     func(*Reading)
		model      AsNew
		want       string
	}{
		{"fore-through", "en", with(Left, ForeCentre, Of(4)), AsNew{}, "Left shoe: the middle of the forefoot is worn through to the midsole."},
		{"fore-through", "es", with(Right, ForeCentre, Of(4)), AsNew{}, "Zapatilla derecha, centro del antepié: gastado hasta la mediasuela."},
		{"fore-through", "xx", with(Left, ForeCentre, Of(4)), AsNew{}, "Left shoe: the middle of the forefoot is worn through to the midsole."},
		{"tilt-out-far", "en", photo(-450, 105), AsNew{}, "Right shoe: the heel tilts outward by 4.5° (±1.05°), more than measuring error explains."},
		{"tilt-out-far", "es", photo(-450, 105), AsNew{}, "Zapatilla derecha: el talón se inclina 4,5° hacia fuera (±1,05°), más de lo que explica el error de medida."},
		{"tilt-in-far", "en", photo(-100, 100), AsNew{Tilt: Of(-600)}, "Right shoe: the heel tilts inward by 5° (±1°), more than measuring error explains."},
		{"mesh-hole", "en", with(Left, Mesh, Of(2)), AsNew{}, "Left shoe: a hole in the mesh, on the bunion side. While the upper holds to the midsole this is only looks."},
		{"creases-inside", "en", with(Left, Creases, Of(DeeperInside)), AsNew{}, "Left shoe: the midsole is creased deeper on the inside."},
		{
			"creases-inside", "en", func(r *Reading) { r.Shoe[Left][Creases], r.Shoe[Left][Stand] = Of(DeeperInside), Of(LeansIn) },
			AsNew{},
			"Left shoe: the midsole is creased deeper on the inside, where the heel leans to.",
		},
		{
			"creases-inside", "en", func(r *Reading) { r.Shoe[Left][Creases], r.Shoe[Left][Stand] = Of(DeeperInside), Of(LeansOut) },
			AsNew{},
			"Left shoe: the midsole is creased deeper on the inside.",
		},
		{"cant-read", "en", with(Right, Bond, CantDirty), AsNew{}, "Right shoe, bond of upper and midsole: could not be read, it was dirty. Bring the pair back clean and dry."},
		{
			"flex-deg-right-easier", "en", func(r *Reading) { r.Shoe[Left][FlexDeg], r.Shoe[Right][FlexDeg] = Of(3500), Of(4500) },
			AsNew{},
			"Under the same load the right shoe bends 45° and the left 35°: 25 % apart. The easier shoe is the more worn one.",
		},
		{
			"heel-left-more", "es", func(r *Reading) { r.Shoe[Left][HeelLateral], r.Shoe[Left][HeelCentre] = Of(2), Of(2) },
			AsNew{},
			"El talón de la zapatilla izquierda está más gastado que el de la derecha: grado medio 1,33 frente a 0.",
		},
		{"distance-beyond-advice", "en", func(r *Reading) { r.KM = Of(912) }, AsNew{}, "The pair has run 912 km, beyond the 800 km we advise. Distance alone decides nothing; the checks do."},
		{"age-beyond-advice", "en", func(r *Reading) { r.AgeDays = Of(1000) }, AsNew{}, "The pair is 1000 days old, beyond the 730 we advise. Age alone decides nothing; the checks do."},
		{"asker-midsole-off", "en", with(Left, AskerMidsole, Of(655)), AsNew{Asker: Of(500)}, "Left shoe: the midsole measures 65.5 Asker C; new it is 50."},
	} {
		t.Run(tc.code+" in "+tc.lang, func(t *testing.T) {
			r := sound()
			tc.change(&r)
			out := judge(&r, &tc.model)
			for i := range out.Findings {
				if f := &out.Findings[i]; f.Code == tc.code {
					if got := Sentence(f.Code, tc.lang, f); got != tc.want {
						t.Errorf("got  %s\nwant %s\n(%s)", got, tc.want, source)
					}
					return
				}
			}
			t.Errorf("no finding %s in %v", tc.code, out.Findings)
		})
	}
}

// A draft's rule has a sentence before the catalogue knows it.
func TestUnknownCodeIsSaidPlainly(t *testing.T) {
	f := Finding{Check: Lining, Shoe: Right, Zone: NoCol, Part: NoPart, Severity: Replace, Code: "lining-smells"}
	if got, want := Sentence(f.Code, "en", &f), "Right shoe, heel lining: worn to the point of replacing."; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

func TestVerdictWords(t *testing.T) {
	for _, tc := range []struct {
		v         Verdict
		h         How
		day, lang string
		want      string
	}{
		{Keep, NoHow, "", "en", "Keep running"},
		{RecheckPair, Later, "5 May", "en", "Keep running, back by 5 May"},
		{RecheckPair, Later, "", "en", "Keep running, come back"},
		{RecheckPair, Now, "5 May", "en", "Read again now"},
		{ReplacePair, NoHow, "", "en", "Replace"},
		{RetirePair, NoHow, "", "en", "Stop wearing today"},
		{Incomplete, NoHow, "", "en", "Not finished"},
		{RecheckPair, Later, "5 de mayo", "es", "Puede seguir corriendo, vuelva antes del 5 de mayo"},
		{NoVerdict, NoHow, "", "es", ""},
	} {
		if got := VerdictWords(tc.v, tc.h, tc.day, tc.lang); got != tc.want {
			t.Errorf("%v %v in %s: got %q, want %q", tc.v, tc.h, tc.lang, got, tc.want)
		}
	}
}

// Whatever is found is said in whole sentences: no placeholder is left and none
// stays empty.
func TestSentencesAreWhole(t *testing.T) {
	hole := regexp.MustCompile(`[\[\]{}]|  | [.,;:°%]|\(±?°\)|,\s*\.|^[.,: ]`)
	spanishPercent := strings.NewReplacer(" %", "%")
	rapid.Check(t, func(t *rapid.T) {
		r, m := anyReading(t), anyModel(t)
		out := judge(&r, m)
		for i := range out.Findings {
			f := &out.Findings[i]
			for _, lang := range Languages() {
				s := spanishPercent.Replace(Sentence(f.Code, lang, f))
				if hole.MatchString(s) || !strings.HasSuffix(s, ".") {
					t.Fatalf("%s in %s: %q", f.Code, lang, s)
				}
			}
		}
	})
}
