package dashboard

import (
	"bufio"
	"context"
	"maps"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/assess"
	"solewright/models"
	"solewright/models/retail"
)

// exportAsked is what an export is asked for.
type exportAsked struct {
	who             Identity
	from, to, store string
}

// exports writes each kind of record as CSV, row after row.
var exports = map[string]func(s *Server, ctx context.Context, ask exportAsked, write func([]byte) error) error{
	"inspections": (*Server).exportInspections,
	"pairs":       (*Server).exportPairs,
	"fittings":    (*Server).exportFittings,
	"shoe-models": (*Server).exportShoeModels,
	"stores":      (*Server).exportStores,
	"staff":       (*Server).exportStaff,
	"runners":     (*Server).exportRunners,
	"sales":       (*Server).exportSales,
	"events":      (*Server).exportEvents,
}

// exportKinds are the kinds, in order.
var exportKinds = slices.Sorted(maps.Keys(exports))

var docExport = operation{
	id: "export", summary: "Export records as CSV",
	about: "Streams, the voided rows included. An answer that breaks off ends the connection, so that half a file is never taken for a whole one.",
	query: scopeParams[2:], media: "text/csv", fails: []*class{badQuery, notFound},
}

// exportBuffer is how many bytes of rows are gathered before they are sent.
const exportBuffer = 64 << 10

// getExport streams one kind of record.
func (s *Server) getExport(c *gin.Context) error {
	kind, ok := strings.CutSuffix(c.Param("kind.csv"), ".csv")
	export := exports[kind]
	if !ok || export == nil {
		return refuse(notFound, "exports are %s, each with .csv", strings.Join(exportKinds, ", "))
	}
	ctx := c.Request.Context()
	ask := exportAsked{who: s.who(c), from: c.Query("from"), to: c.Query("to"), store: c.Query("store")}
	for name, day := range map[string]string{"from": ask.from, "to": ask.to} {
		if day != "" && !isDay(day) {
			return refuseParameter(name, "want a day such as 2026-10-05")
		}
	}
	if ask.store != "" {
		if err := s.mayAt(ctx, ask.who, exportRecords, ask.store, "#"); err != nil {
			return err
		}
	}
	if err := s.db.AuditRead(ctx, ask.who.actor(), "export:"+kind); err != nil {
		return err
	}
	c.Header("Content-Type", "text/csv; charset=utf-8")
	c.Header("Content-Disposition", `attachment; filename="`+kind+`.csv"`)
	out := bufio.NewWriterSize(c.Writer, exportBuffer)
	err := export(s, ctx, ask, func(row []byte) error {
		_, err := out.Write(row)
		return err
	})
	if err != nil {
		if !c.Writer.Written() { // nothing was sent yet: the error can be answered
			c.Writer.Header().Del("Content-Disposition")
		}
		return wrongQuery(err)
	}
	c.Status(http.StatusOK)
	return out.Flush()
}

func (s *Server) exportInspections(ctx context.Context, ask exportAsked, write func([]byte) error) error {
	if err := write(assess.AppendCSVHeader(nil)); err != nil {
		return err
	}
	var row []byte
	f := models.InspectionFilter{Scopes: ask.who.Scopes, Store: ask.store, From: ask.from, To: ask.to}
	return s.db.EachInspection(ctx, f, func(in *models.Inspection) error {
		row = assess.AppendCSV(row[:0], &in.Record)
		return write(row)
	})
}

func (s *Server) exportPairs(ctx context.Context, ask exportAsked, write func([]byte) error) error {
	return exportRows(models.PairLines, write, func(each func(*models.PairLine) error) error {
		return s.db.EachPairLine(ctx, ask.who.Scopes, ask.from, ask.to, ask.store, each)
	})
}

func (s *Server) exportFittings(ctx context.Context, ask exportAsked, write func([]byte) error) error {
	return exportRows(retail.Fittings.CSV, write, func(each func(*retail.Fitting) error) error {
		return s.db.EachFitting(ctx, func(f *models.StoredFitting) error {
			if f.Day < ask.from || ask.to != "" && f.Day > ask.to {
				return nil
			}
			if ok, err := s.exported(ctx, ask, f.Store); err != nil || !ok {
				return err
			}
			return each(&f.Fitting)
		})
	})
}

func (s *Server) exportShoeModels(ctx context.Context, _ exportAsked, write func([]byte) error) error {
	return exportRows(retail.ShoeModels.CSV, write, func(each func(*retail.ShoeModel) error) error {
		all, err := s.db.ShoeModels(ctx)
		return eachOf(all, err, func(m *models.ShoeModel) error { return each(&m.ShoeModel) })
	})
}

func (s *Server) exportStores(ctx context.Context, ask exportAsked, write func([]byte) error) error {
	return exportRows(retail.Stores.CSV, write, func(each func(*retail.Store) error) error {
		all, err := s.db.Stores(ctx)
		return eachOf(all, err, func(st *retail.Store) error {
			if !ask.who.covers(st.Code, st.Region) || ask.store != "" && ask.store != st.Code {
				return nil
			}
			return each(st)
		})
	})
}

func (s *Server) exportStaff(ctx context.Context, ask exportAsked, write func([]byte) error) error {
	return exportRows(retail.StaffList.CSV, write, func(each func(*retail.Staff) error) error {
		all, err := s.staffOf(ctx, ask.who)
		return eachOf(all, err, each)
	})
}

// exportRunners needs the fleet in scope: a runner belongs to no store.
func (s *Server) exportRunners(ctx context.Context, ask exportAsked, write func([]byte) error) error {
	if !ask.who.Fleet() {
		return refuse(forbidden, "runners belong to no store: exporting them takes the fleet in scope")
	}
	return exportRows(retail.Runners.CSV, write, func(each func(*retail.Runner) error) error {
		return s.db.EachRunner(ctx, each)
	})
}

func (s *Server) exportSales(ctx context.Context, ask exportAsked, write func([]byte) error) error {
	return exportRows(retail.Sales.CSV, write, func(each func(*retail.Sale) error) error {
		return s.db.EachSale(ctx, monthOf(ask.from), monthOf(ask.to), func(sale *retail.Sale) error {
			if ok, err := s.exported(ctx, ask, sale.Store); err != nil || !ok {
				return err
			}
			return each(sale)
		})
	})
}

func (s *Server) exportEvents(ctx context.Context, ask exportAsked, write func([]byte) error) error {
	return exportRows(retail.Events.CSV, write, func(each func(*retail.Event) error) error {
		all, err := s.db.Events(ctx, ask.from, ask.to)
		return eachOf(all, err, func(e *retail.Event) error {
			if ok, err := s.exported(ctx, ask, e.Store); err != nil || !ok {
				return err
			}
			return each(e)
		})
	})
}

// exported reports whether a store's records belong to an export.
func (s *Server) exported(ctx context.Context, ask exportAsked, store string) (bool, error) {
	if ask.store != "" && ask.store != store {
		return false, nil
	}
	return s.inScope(ctx, ask.who, store)
}

// exportRows writes the header of a table, and every row that stream gives.
func exportRows[T any](table *assess.Table[T], write func([]byte) error, stream func(func(*T) error) error) error {
	if err := write(table.AppendHeader(nil)); err != nil {
		return err
	}
	var row []byte
	return stream(func(v *T) error {
		row = table.Append(row[:0], v)
		return write(row)
	})
}

// eachOf calls f with every item of a list that was read without an error.
func eachOf[T any](all []T, err error, f func(*T) error) error {
	for i := range all {
		if err == nil {
			err = f(&all[i])
		}
	}
	return err
}

// isDay reports whether s is a day of the calendar, YYYY-MM-DD.
func isDay(s string) bool {
	_, err := time.Parse(time.DateOnly, s)
	return err == nil
}

// monthOf returns the month of a day, and nothing for none.
func monthOf(day string) string { return day[:min(len(day), len("2026-10"))] }
