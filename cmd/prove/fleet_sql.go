package main

import (
	"fmt"
	"strings"
	"time"

	"solewright/models/retail"
)

// fleetStart is the first day of the invented fleet.
var fleetStart = time.Date(2016, time.November, 1, 0, 0, 0, 0, time.UTC)

// writeFleet returns the statements that write so many readings of the invented
// fleet, with their pairs, into an empty database of a dialect: the database
// makes them itself, because any way in from outside takes many times as long.
func writeFleet(dialect string, readings int64) []string {
	lite := dialect == "sqlite"
	pick := func(postgres, sqlite string) string {
		if lite {
			return sqlite
		}
		return postgres
	}
	uuid := func(n string) string {
		return pick(fmt.Sprintf("('00000000-0000-7000-8000-' || lpad(to_hex(%s), 12, '0'))::uuid", n),
			fmt.Sprintf("unhex(printf('00000000000070008000%%012x', %s))", n))
	}
	model := func(n string) string {
		return pick(fmt.Sprintf("(lpad(to_hex(%s), 4, '0') || '0000-0000-7000-8000-000000000000')::uuid", n),
			fmt.Sprintf("unhex(printf('%%04x0000000070008000000000000000', %s))", n))
	}
	word := func(letter string, digits int, n string) string {
		return pick(fmt.Sprintf("'%s-' || lpad((%s)::text, %d, '0')", letter, n, digits), fmt.Sprintf("printf('%s-%%0%dd', %s)", letter, digits, n))
	}
	series := func(n int64) string {
		return pick(fmt.Sprintf("generate_series(0::bigint, %d) AS s(n)", n-1),
			fmt.Sprintf("(WITH RECURSIVE s(n) AS (SELECT 0 UNION ALL SELECT n + 1 FROM s WHERE n < %d) SELECT n FROM s)", n-1))
	}
	// over is an expression over n written for another expression.
	over := func(expression, n string) string {
		return strings.ReplaceAll(expression, "(n *", "("+n+" *")
	}
	const (
		pairOfN = "(n / 10 * 7 + CASE WHEN n % 10 < 7 THEN n % 10 ELSE n % 10 - 7 END)"
		lastOfN = "(n / 7 * 10 + CASE WHEN n % 7 < 3 THEN n % 7 + 7 ELSE n % 7 END)"
	)
	ref := func(n string) string {
		n = fmt.Sprintf("(%s * %d %% %d)", n, int64(scatterPairs), int64(1)<<40) // as refOf scatters
		var b strings.Builder
		for i := 7; i >= 0; i-- {
			fmt.Fprintf(&b, "substr('0123456789ABCDEFGHJKMNPQRSTVWXYZ', CAST(%s / %d %% 32 AS integer) + 1, 1) || ", n, int64(1)<<(5*i))
		}
		fmt.Fprintf(&b, "substr('0123456789ABCDEFGHJKMNPQRSTVWXYZ*~$=U', CAST(%s %% 37 AS integer) + 1, 1)", n)
		return b.String()
	}
	dayN := fmt.Sprintf("(n * %d / %d)", fleetDays, readings)
	day := pick(fmt.Sprintf("to_char(date '2016-11-01' + %s::integer, 'YYYY-MM-DD')", dayN), fmt.Sprintf("date('2016-11-01', %s || ' days')", dayN))
	at := pick(fmt.Sprintf("timestamptz '2016-11-01 12:00Z' + %s * interval '1 day'", dayN),
		fmt.Sprintf("(%d + %s * 86400) * 1000000", fleetStart.Unix()+12*3600, dayN))
	created := pick("timestamptz '2016-11-01 12:00Z'", fmt.Sprint(fleetStart.UnixMicro()))
	no := pick("false", "0")
	zones := func(draw string) string {
		text := pick(fmt.Sprintf("lpad((%s)::text, 10, '1')", draw), fmt.Sprintf("printf('11111%%05d', %s)", draw))
		for digit := 5; digit <= 9; digit++ {
			text = fmt.Sprintf("replace(%s, '%d', '%d')", text, digit, digit-5)
		}
		return text
	}
	km := fmt.Sprintf("(20 * %s + 20)", drawKM.sql())
	finalKM := over(km, lastOfN)
	finalWorn := over(drawVerdict.sql(), lastOfN) + " >= 2"
	runner := word("R", 8, fmt.Sprintf("n / %d + 1", fleetRunners))
	codes := make([]string, len(retail.Categories))
	for i, c := range retail.Categories {
		codes[i] = fmt.Sprintf("WHEN %d THEN '%s'", i, c)
	}
	pairs := readings / 10 * 7
	return []string{
		fmt.Sprintf("INSERT INTO region (code, name, currency) SELECT %[1]s, %[1]s, 'EUR' FROM %[2]s", word("R", 2, "n"), series(fleetRegions)),
		fmt.Sprintf("INSERT INTO store (code, name, region, zone, currency, unit) SELECT %[1]s, %[1]s, %[2]s, 'Europe/Madrid', 'EUR', 'km' FROM %[3]s",
			word("S", 4, "n"), word("R", 2, fmt.Sprintf("n %% %d", fleetRegions)), series(fleetStores)),
		fmt.Sprintf("INSERT INTO shoe_model (id, brand, model, version, identity, search, category, typed_in, as_new, created_at)"+
			" SELECT %[1]s, 'Velm', %[2]s, %[3]s, %[4]s || '\n' || %[3]s, '', CASE n / 2 %% %[5]d %[6]s END, %[7]s, 0, %[8]s FROM %[9]s", // a model has two versions
			model("n"), word("M", 3, "n / 2"), "CASE n % 2 WHEN 0 THEN '1' ELSE '2' END", word("velm\nm", 3, "n / 2"), len(codes), strings.Join(codes, " "), no, created, series(fleetModels)),
		fmt.Sprintf("INSERT INTO pair (ref, model_id, batch, runner, store, created_at, lower_km, upper_km, contradicts, readings, last_store, last_id, version)"+
			" SELECT %s, %s, %s, %s, 'S-0000', %s, CASE WHEN %s THEN 0 ELSE %s END, CASE WHEN %s THEN %s END, 0, 1, %s, %s, 1 FROM %s",
			ref("n"), model(drawModel.sql()), word("B", 3, drawBatch.sql()), runner, created, finalWorn, finalKM, finalWorn, finalKM,
			word("S", 4, over(drawStore.sql(), lastOfN)), uuid(lastOfN), series(pairs)),
		fmt.Sprintf("INSERT INTO inspection (id, at, received_at, flags, as_new, rules, kind, has_values, erased, store, staff, day, month,"+
			" l_zones, r_zones, l_checks, r_checks, pair_checks, model_id, pair_ref, km, gait, strike, surface, used_for, advised, heel, fore, side,"+
			" decided_by, l_posture, l_tilt, r_tilt, codes, brand, model, size_label, batch, engine)"+
			" SELECT %[1]s, %[2]s, %[2]s, 0, 0, 0, 1 + n %% 2, %[3]s, %[3]s, %[4]s, %[5]s, %[6]s, substr(%[6]s, 1, 7),"+
			" %[7]s, %[8]s, '010-00000000000', '010-00000000000', '02-2-000', %[9]s, %[10]s, %[11]s, %[12]s, %[13]s, %[14]s, 0, 1 + %[15]s,"+
			" 1 + %[16]s, 1 + %[17]s, 1 + %[18]s, 0, %[19]s, %[20]s - 450, %[21]s - 450, 'heel-through bond-lifting', 'Velm', 'M', 'EU 42', %[22]s, '1'"+
			" FROM %[23]s",
			uuid("n"), at, no, word("S", 4, drawStore.sql()), word("F", 4, drawStaff.sql()), day,
			zones(drawZones.sql()), zones(over(drawZones.sql(), "(n + 1)")), model(over(drawModel.sql(), pairOfN)), ref(pairOfN),
			km, drawGait.sql(), drawStrike.sql(), drawSurface.sql(), drawVerdict.sql(), drawHeel.sql(), drawFore.sql(), drawSide.sql(),
			over(drawGait.sql(), "(n + 1)"), drawTilt.sql(), over(drawTilt.sql(), "(n + 1)"), word("B", 3, over(drawBatch.sql(), pairOfN)), series(readings)),
		"ANALYZE",
	}
}
