package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
)

const (
	tallyRows = 10_000_000
	// tallyAtLeast is how many rows a second each statistic must read.
	tallyAtLeast = 1_000_000
	// tallyItems is how many items are graded, each by tallyRaters in turn.
	tallyItems  = 1_000_000
	tallyRaters = 10
)

// proveTally measures statistics over a file of ten million rows.
func proveTally(l *lab) error {
	path := l.path("readings.csv")
	size, err := writeWide(path)
	if err != nil {
		return err
	}
	t := newTable("Statistics over ten million rows", "statistic", "rows", "s", "rows/s", "processor s", "peak memory MB")
	t.note("one invented file of %d rows, %d MB, 16 columns, every row another pair; read by `solewright tally` to its result", tallyRows, size>>20)
	t.note("target: %d rows a second each; memory by distinct values: the last line holds %d items by %d raters", tallyAtLeast, tallyItems, tallyRaters)
	slow := ""
	for _, args := range []string{
		"shares --of verdict",
		"shares --of verdict --by model",
		"shares --of verdict --cluster runner",
		"association --rows surface --cols verdict",
		"life --lower lower --upper upper",
		"life --lower lower --upper upper --by surface",
		"life --time lower --event worn",
		"life --time lower --worn worn --current-status",
		"heaping --value km --by store",
		"chart --kind p --order month --hits worn --size one",
		"match --first surface --second surface_again",
		"agreement --first verdict --second again --scale ordinal",
		"agreement --item item --rater rater --grade verdict --scale nominal",
	} {
		words := append([]string{"tally"}, strings.Fields(args)...)
		out, used, err := l.solewright(nil, append(words, path)...)
		if err != nil {
			return err
		}
		var found struct{ N int }
		if err := json.Unmarshal([]byte(out), &found); err != nil {
			return fmt.Errorf("%s: %w", args, err)
		}
		if found.N != tallyRows {
			return fmt.Errorf("%s: counted %d of %d rows", args, found.N, tallyRows)
		}
		rate := tallyRows / used.wall.Seconds()
		if rate < tallyAtLeast {
			slow += "; " + args
		}
		t.row("`"+args+"`", tallyRows, seconds(used.wall), fmt.Sprintf("%.0f", rate), seconds(used.cpu), used.peak>>20)
	}
	if err := l.write("tally", t); err != nil {
		return err
	}
	if slow != "" {
		return fmt.Errorf("fewer than %d rows a second: %s", tallyAtLeast, strings.TrimPrefix(slow, "; "))
	}
	return nil
}

// writeWide writes the file, the same each time.
func writeWide(path string) (size int64, err error) {
	f, err := os.Create(path)
	if err != nil {
		return 0, err
	}
	defer f.Close()
	w := bufio.NewWriterSize(f, 1<<20)
	r := rand.New(rand.NewPCG(1, 1))
	verdicts, surfaces := []string{"keep", "watch", "replace"}, []string{"road", "trail", "track", "mixed"}
	line := []byte("pair,store,model,month,runner,surface,surface_again,verdict,again,lower,upper,worn,km,one,item,rater\n")
	for i := range tallyRows {
		if _, err := w.Write(line); err != nil {
			return 0, err
		}
		number := func(v int) { line = strconv.AppendInt(append(line, ','), int64(v), 10) }
		name := func(letter byte, v int) { line = strconv.AppendInt(append(line, ',', letter), int64(v), 10) }
		word := func(s string) { line = append(append(line, ','), s...) }
		surface, verdict := r.IntN(len(surfaces)), r.IntN(len(verdicts))
		lower, worn := 10*r.IntN(100), r.IntN(2)
		line = strconv.AppendInt(append(line[:0], 'p'), int64(i), 10)
		name('s', r.IntN(2000))
		name('m', r.IntN(800))
		number(202001 + r.IntN(12))
		name('r', r.IntN(300_000))
		word(surfaces[surface])
		word(surfaces[(surface+r.IntN(8)/7)%len(surfaces)])
		word(verdicts[verdict])
		word(verdicts[(verdict+r.IntN(5)/4)%len(verdicts)])
		number(lower)
		if worn == 1 {
			number(lower + 10*(1+r.IntN(50)))
		} else {
			line = append(line, ',')
		}
		number(worn)
		number(r.IntN(1500))
		number(1)
		name('i', i%tallyItems)
		name('f', i/tallyItems)
		line = append(line, '\n')
	}
	if _, err := w.Write(line); err != nil {
		return 0, err
	}
	if err := w.Flush(); err != nil {
		return 0, err
	}
	info, err := f.Stat()
	if err != nil {
		return 0, err
	}
	return info.Size(), f.Close()
}
