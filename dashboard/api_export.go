package dashboard

import (
	"bufio"
	"errors"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/models"
	"solewright/models/exchange"
)

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
	if !ok || !slices.Contains(exchange.ExportKinds, kind) {
		return refuse(notFound, "exports are %s, each with .csv", strings.Join(exchange.ExportKinds, ", "))
	}
	ctx, who := c.Request.Context(), s.who(c)
	ask := exchange.Asked{Scopes: who.scopes(exportRecords), From: c.Query("from"), To: c.Query("to"), Store: c.Query("store")}
	wrong := exactDays(c)
	if ask.Store != "" {
		if _, err := s.store(ctx, ask.Store); errors.Is(err, models.ErrNotFound) {
			wrong = allOf(wrong, refuseParameter("store", "there is no such store"))
		} else if err := s.mayAt(ctx, who, exportRecords, ask.Store, "#"); err != nil {
			return err
		}
	}
	if wrong != nil {
		return wrong
	}
	if kind == "runners" && !who.fleet(exportRecords) {
		return refuse(forbidden, "runners belong to no store: exporting them takes the fleet in scope")
	}
	if err := s.db.AuditRead(ctx, who.actor(), "export:"+kind); err != nil {
		return err
	}
	c.Header("Content-Type", "text/csv; charset=utf-8")
	c.Header("Content-Disposition", `attachment; filename="`+kind+`.csv"`)
	out := bufio.NewWriterSize(c.Writer, exportBuffer)
	err := s.export(ctx, s.db, kind, ask, func(row []byte) error {
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

// isDay reports whether s is a day of the calendar, YYYY-MM-DD.
func isDay(s string) bool {
	_, err := time.Parse(time.DateOnly, s)
	return err == nil
}
