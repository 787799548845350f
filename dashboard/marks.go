package dashboard

import (
	"cmp"
	"context"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/models"
	"solewright/models/retail"
	"solewright/reports/figure"
	memory "solewright/reports/fleet"
	"solewright/reports/wear"
)

// monthMarks are what a chart by month has to be read with, by month: the rule sets
// and credit tables that began in it, and what moved visits to the stores asked
// about.
type monthMarks struct {
	rules, credit, events map[string]string
	restarts              []wear.FailureRestart // the days of the rule sets
}

// put puts the marks of a point's month on it.
func (m *monthMarks) put(p *figure.ControlPoint) {
	p.Mark, p.Events = m.rules[p.At], m.events[p.At]
	if credit := m.credit[p.At]; p.Mark == "" {
		p.Mark = credit
	} else if credit != "" {
		p.Mark += ", " + credit
	}
}

// eventWords is how many kinds of event a month names at most.
const eventWords = 3

// marks finds what charts of a question have to be read with. What was there from the
// first changed nothing.
func (s *Server) marks(c *gin.Context, a wear.Ask) (*monthMarks, error) {
	ctx, w := c.Request.Context(), s.words(c)
	m := &monthMarks{rules: map[string]string{}, credit: map[string]string{}, events: map[string]string{}}
	for _, t := range []struct {
		table models.NumberedTables
		key   string
		into  map[string]string
	}{{models.RuleSets, "fleet.mark.rules", m.rules}, {models.CreditTables, "fleet.mark.credit", m.credit}} {
		versions, err := s.db.Versions(ctx, t.table)
		if err != nil {
			return nil, err
		}
		numbers := map[string][]string{}
		for _, v := range versions {
			if v.From == slices.MinFunc(versions, func(x, y models.Numbered) int { return cmp.Compare(x.From, y.From) }).From {
				continue
			}
			month := monthOf(v.From)
			numbers[month] = append(numbers[month], strconv.Itoa(v.Number))
			if t.table == models.RuleSets {
				m.restarts = append(m.restarts, wear.FailureRestart{Day: v.From, Rules: v.Number})
			}
		}
		for month, list := range numbers {
			t.into[month] = w.say(t.key, "number", strings.Join(list, ", "))
		}
	}
	return m, s.eventMarks(ctx, w, a, m.events)
}

// eventMarks counts the stores that each kind of event touched in a month.
func (s *Server) eventMarks(ctx context.Context, w words, a wear.Ask, into map[string]string) error {
	events, err := s.known.events.get("", func() ([]retail.Event, error) { return s.db.Events(ctx, "", "") })
	if err != nil {
		return err
	}
	type kind struct{ month, word string }
	stores := map[kind]map[string]bool{}
	for _, e := range events {
		if in, err := s.asksAbout(ctx, a, e.Store); err != nil || !in {
			if err != nil {
				return err
			}
			continue
		}
		from, err := time.Parse(time.DateOnly, e.From)
		if err != nil {
			return err
		}
		for month := from.AddDate(0, 0, 1-from.Day()); month.Format(time.DateOnly) <= e.To; month = month.AddDate(0, 1, 0) {
			k := kind{month.Format(monthForm), e.Word}
			if stores[k] == nil {
				stores[k] = map[string]bool{}
			}
			stores[k][e.Store] = true
		}
	}
	byMonth := map[string][]kind{}
	for k := range stores {
		byMonth[k.month] = append(byMonth[k.month], k)
	}
	for month, kinds := range byMonth {
		slices.SortFunc(kinds, func(x, y kind) int {
			return cmp.Or(cmp.Compare(len(stores[y]), len(stores[x])), cmp.Compare(x.word, y.word))
		})
		var said []string
		for _, k := range kinds[:min(len(kinds), eventWords)] {
			if stores[k][""] { // the whole fleet's
				said = append(said, k.word)
				continue
			}
			said = append(said, w.say("fleet.mark.event", "word", k.word, "n", len(stores[k])))
		}
		into[month] = strings.Join(said, ", ")
	}
	return nil
}

// asksAbout reports whether a question is about a store, empty for the whole fleet.
func (s *Server) asksAbout(ctx context.Context, a wear.Ask, code string) (bool, error) {
	if code == "" {
		return true, nil
	}
	store, err := s.store(ctx, code)
	if err != nil {
		return false, err
	}
	for _, only := range a.Only {
		if only.Dim == memory.Store && !slices.Contains(only.Words, store.Code) || only.Dim == memory.Region && !slices.Contains(only.Words, store.Region) {
			return false, nil
		}
	}
	return covers(a.Scopes, store.Code, store.Region), nil
}
