package dashboard

import (
	"net/http"
	"slices"
	"strconv"

	"github.com/gin-gonic/gin"
	"golang.org/x/text/currency"

	"solewright/models"
)

// fleetCreditPage says what was given for pairs, by currency.
type fleetCreditPage struct {
	wearFilters
	Currencies []creditCurrency
	CSV        string
	Routes     *routesView
	RoutesCSV  string
}

// creditCurrency is what was given in one currency: nothing is summed across.
type creditCurrency struct {
	Code   string
	Total  creditLine
	Tables []creditTable
}

type creditTable struct {
	Title, Column string
	Lines         []creditLine
}

type creditLine struct {
	Name, Given, Mean, Advised string
	Pairs, Overridden          int
}

// creditSum adds credit up.
type creditSum struct {
	pairs, overridden int
	given, advised    int64
}

func (s *creditSum) add(c *models.Credit) {
	s.pairs += c.Pairs
	s.overridden += c.Overridden
	s.given += c.Given
	s.advised += c.Advised
}

// showFleetCredit answers with the credit given.
func (s *Server) showFleetCredit(c *gin.Context) error {
	a, v, err := s.askOf(c)
	if err != nil {
		return err
	}
	f, err := s.creditAsked(c)
	if err != nil {
		return err
	}
	w := s.words(c)
	view := fleetCreditPage{CSV: address(c, "as", "csv"), RoutesCSV: address(c, "as", "csv", "of", "routes")}
	if view.wearFilters, a, err = s.wearFilters(c, v, a); err != nil {
		return err
	}
	if err := daysAsked(&f, a.From, a.To); err != nil {
		return err
	}
	view.Selects = slices.DeleteFunc(view.Selects, func(x filterSelect) bool { return !slices.Contains([]string{"region", "store", "category"}, x.Name) })
	ctx, csv, ofRoutes := c.Request.Context(), c.Query("as") == "csv", c.Query("of") == "routes"
	var (
		all    []models.Credit
		routed []models.Routed
	)
	if !csv || !ofRoutes {
		if all, err = s.db.Credits(ctx, f); err != nil {
			return wrongQuery(err)
		}
	}
	if !csv || ofRoutes {
		if routed, err = s.db.Routes(ctx, f); err != nil {
			return wrongQuery(err)
		}
	}
	switch {
	case csv && ofRoutes:
		return routesCSV(c, routed)
	case csv:
		return creditCSV(c, all)
	}
	engine, err := s.proposing(ctx)
	if err != nil {
		return err
	}
	view.Routes = w.routes(routed, engine)
	for len(all) > 0 {
		n := slices.IndexFunc(all, func(x models.Credit) bool { return x.Currency != all[0].Currency })
		if n < 0 {
			n = len(all)
		}
		view.Currencies = append(view.Currencies, w.creditOf(all[:n]))
		all = all[n:]
	}
	return s.render(c, http.StatusOK, "fleet-credit", view)
}

// creditOf adds up what was given in one currency.
func (w words) creditOf(all []models.Credit) creditCurrency {
	code := all[0].Currency
	out := creditCurrency{Code: code}
	var total creditSum
	for i := range all {
		total.add(&all[i])
	}
	out.Total = w.creditLine(code, w.say("fleet.credit.total"), total)
	for _, key := range handOverKeys {
		t := creditTable{Title: w.say("fleet.credit.by." + key), Column: w.say("fleet.filter." + key)}
		order, sums := sumBy(all, func(x *models.Credit) string { return handOverWord(key, x.Store, x.Category, x.Month) }, (*creditSum).add)
		for _, word := range order {
			t.Lines = append(t.Lines, w.creditLine(code, w.handOverName(key, word), *sums[word]))
		}
		out.Tables = append(out.Tables, t)
	}
	return out
}

func (w words) creditLine(code, name string, s creditSum) creditLine {
	return creditLine{
		Name: name, Pairs: s.pairs, Overridden: s.overridden, Given: money(code, s.given), Advised: money(code, s.advised),
		Mean: money(code, (s.given+int64(s.pairs)/2)/int64(max(s.pairs, 1))),
	}
}

// money writes minor units of a currency in its major unit, by the number of
// decimals of ISO 4217.
func money(code string, minor int64) string {
	decimals := 2
	if unit, err := currency.ParseISO(code); err == nil {
		decimals, _ = currency.Standard.Rounding(unit)
	}
	sign := ""
	if minor < 0 {
		sign, minor = "−", -minor
	}
	digits := strconv.FormatInt(minor, 10)
	for len(digits) <= decimals {
		digits = "0" + digits
	}
	if decimals == 0 {
		return sign + digits
	}
	return sign + digits[:len(digits)-decimals] + "." + digits[len(digits)-decimals:]
}

// creditCSV answers with the credit as a file, in minor units.
func creditCSV(c *gin.Context, all []models.Credit) error {
	rows := [][]string{{"currency", "store", "category", "month", "pairs", "overridden", "given", "advised"}}
	for _, x := range all {
		rows = append(rows, []string{
			x.Currency, x.Store, x.Category, x.Month, strconv.Itoa(x.Pairs), strconv.Itoa(x.Overridden),
			strconv.FormatInt(x.Given, 10), strconv.FormatInt(x.Advised, 10),
		})
	}
	return handOverCSV(c, "credit.csv", rows)
}
