package dashboard

import (
	"fmt"
	"net/http"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/assess"
)

// method is a statistic as /methods explains it. What it asks, how it is
// counted and what guards it are the texts methods.NAME.asks, .how and .guard.
type method struct {
	Name   string
	Source string
}

// statistics is every statistic that a page shows, in the order of the questions
// that a manager asks.
var statistics = []method{
	{"shares", "Wilson 1927, J Am Stat Assoc 22:209–212; runners with several pairs: Rao & Scott 1992, Biometrics 48:577–585"},
	{"difference", "Newcombe 1998, Stat Med 17:873–890, method 10"},
	{"association", "Pearson 1900; Freeman & Halton 1951, Biometrika 38:141–149; Haberman 1973, Biometrics 29:205–220; Bergsma 2013, J Korean Stat Soc 42:323–328"},
	{"adjust", "Benjamini & Hochberg 1995, J R Stat Soc B 57:289–300"},
	{"apart", "Spiegelhalter 2005, Stat Med 24:1185–1202; Paule & Mandel 1982, J Res Natl Bur Stand 87:377–385; Mantel & Haenszel 1959, J Natl Cancer Inst 22:719–748"},
	{"pool", "Beta-binomial empirical Bayes; intervals of Laird & Louis 1987, J Am Stat Assoc 82:739–750"},
	{"life", "Turnbull 1976, J R Stat Soc B 38:290–295; Peto 1973, Appl Stat 22:86–91"},
	{"score", "Sun 1996, Stat Med 15:1387–1395"},
	{"weibull", "Meeker & Escobar 1998, Statistical Methods for Reliability Data"},
	{"next", "Conditional quantile of the fitted life, given sound now"},
	{"ra-cusum", "Steiner, Cook, Farewell & Treasure 2000, Biostatistics 1:441–452; Poisson-binomial tails; Garwood 1936, Biometrika 28:437–442"},
	{"funnel", "Spiegelhalter 2005, Stat Med 24:1185–1202; Mantel & Haenszel 1959, J Natl Cancer Inst 22:719–748"},
	{"trend", "Cochran 1954, Biometrics 10:417–451; Armitage 1955, Biometrics 11:375–386; Mann 1945; Sen 1968, J Am Stat Assoc 63:1379–1389"},
	{"agreement", "Cohen 1968, Psychol Bull 70:213–220; Fleiss 1971, Psychol Bull 76:378–382; Krippendorff 2011; Gwet 2008, Br J Math Stat Psychol 61:29–48"},
	{"limits", "Shrout & Fleiss 1979, Psychol Bull 86:420–428; Bland & Altman 1986, Lancet i:307–310"},
	{"misread", "Rogan & Gladen 1978, Am J Epidemiol 107:71–76; Lang & Reiczigel 2014, Prev Vet Med 113:13–22; Dawid & Skene 1979, Appl Stat 28:20–28"},
	{"match", "Robinson, Herzog & Nigg 1987, J Manipulative Physiol Ther 10:172–176; McNemar 1947, Psychometrika 12:153–157; Stuart 1955, Biometrika 42:412–416; Maxwell 1970, Br J Psychiatry 116:651–655"},
	{"heaping", "Myers 1940; Whipple’s index as in Shryock & Siegel 1976"},
	{"near", "Gower 1971, Biometrics 27:857–871"},
}

// methodsPage is the view of /methods.
type methodsPage struct {
	Checks  []methodsCheck
	RuleSet int
	From    string
	Rules   []methodsRule
	Methods []method
	// Posture are the bands of the Foot Posture Index, in the version that sums are
	// banded by.
	Posture        []postureBand
	PostureVersion int
	PostureSource  string
}

// postureBand is one band of sums, both ends included.
type postureBand struct {
	Word      string
	Low, High string
}

// methodsCheck is a check with what counts at it.
type methodsCheck struct{ Label, Help string }

// methodsRule is a rule in words.
type methodsRule struct{ Code, Test, Leads, Basis string }

// showMethods serves every check, rule and statistic in plain words.
func (s *Server) showMethods(c *gin.Context) error {
	ctx, today := c.Request.Context(), s.now().UTC().Format(time.DateOnly)
	n, err := s.rulesOn(ctx, today)
	if err != nil {
		return err
	}
	engine, err := s.engineOf(ctx, n)
	if err != nil {
		return err
	}
	bands, err := s.db.PostureBandsOn(ctx, today)
	if err != nil {
		return err
	}
	return s.render(c, http.StatusOK, "methods", methodsView(s.words(c), engine.Set(), bands))
}

func methodsView(w words, set *assess.RuleSet, bands *assess.PostureBands) methodsPage {
	view := methodsPage{RuleSet: set.Number, From: set.From, Methods: statistics}
	lang := w.tag.String()
	for i := range assess.Columns {
		if help := assess.Help(assess.Col(i), lang); help != "" {
			view.Checks = append(view.Checks, methodsCheck{assess.Label(assess.Col(i), lang), help})
		}
	}
	for i := range set.Rules {
		r := &set.Rules[i]
		view.Rules = append(view.Rules, methodsRule{r.Code, ruleTest(w, r), ruleLeads(w, r), r.Basis})
	}
	view.PostureVersion, view.PostureSource = bands.Version, bands.Source
	view.Posture = w.postureBands(bands)
	return view
}

// postureBands lays the bands out by their words, both ends included.
func (w words) postureBands(bands *assess.PostureBands) []postureBand {
	rows := make([]postureBand, len(bands.Low))
	for i, low := range bands.Low {
		high := assess.MaxPosture
		if i+1 < len(bands.Low) {
			high = bands.Low[i+1] - 1
		}
		rows[i] = postureBand{w.word(assess.GaitWords[i]), signed(low), signed(high)}
	}
	return rows
}

// signed writes a whole number with its sign, which 0 hasn't got.
func signed(n int) string {
	if n == 0 {
		return "0"
	}
	return strings.Replace(fmt.Sprintf("%+d", n), "-", "−", 1)
}
