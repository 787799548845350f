package dashboard

import (
	"encoding/json"
	"net/http"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models/retail"
)

// fittingPage is the fitting of one runner. Like a ticket it is the same page for
// everybody, so that a tablet can keep it; the fitting itself lives on the tablet
// until it is sent.
type fittingPage struct {
	Gaits, GaitBy, Strikes, StrikeBy []string
	Surfaces, UsedFor                []string
	Shoes, Measures                  []string
	// Items are the keys of the six items of posture, Grades what each may be.
	Items  []string
	Grades []int
	// Sizes is a table by foot length as JSON: the engine's own, so that no other
	// place converts.
	Sizes string
	// Felt and Outcomes are the words of a pair that was tried, space between.
	Felt, Outcomes string
}

// sizeRow is one line of the table of sizes.
type sizeRow struct {
	Mondopoint int    `json:"mondopoint"`
	EU         string `json:"eu"`
	UK         string `json:"uk"`
	USMen      string `json:"us_m"`
	USWomen    string `json:"us_w"`
}

// sizeTable writes the sizes of adults' feet by their length in mm, as JSON.
func sizeTable() (string, error) {
	table := map[int]sizeRow{}
	for mm := 1; mm < 1000; mm++ {
		s, err := assess.SizesOf(mm)
		if err != nil {
			continue // outside what the formulas are used for
		}
		table[mm] = sizeRow{s.Mondopoint, s.EU.String(), s.UK.String(), s.USMen.String(), s.USWomen.String()}
	}
	text, err := json.Marshal(table)
	return string(text), err
}

// showFitting answers with the fitting page.
func (s *Server) showFitting(c *gin.Context) error {
	view := fittingPage{
		Gaits: assess.GaitWords, GaitBy: assess.GaitByWords, Strikes: assess.StrikeWords, StrikeBy: retail.StrikeByWords,
		Surfaces: assess.Surfaces, UsedFor: assess.UsedForWords,
		Shoes: shoeWords, Measures: []string{"length_mm", "width_mm"}, Sizes: s.sizes,
		Felt: strings.Join(retail.FeltWords, " "), Outcomes: strings.Join(retail.OutcomeWords, " "),
	}
	for i := range assess.PostureItems {
		view.Items = append(view.Items, strconv.Itoa(i+1))
	}
	for v := assess.MinPostureItem; v <= assess.MaxPostureItem; v++ {
		view.Grades = append(view.Grades, v)
	}
	return s.render(c, http.StatusOK, "fitting", view)
}
