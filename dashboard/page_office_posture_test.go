package dashboard

import (
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

func TestPostureBandsAreDraftedAndPublished(t *testing.T) {
	r := newRig(t)
	r.shows(r.sees("/office/posture"), "Posture bands: set 1 and draft", "−12 to −5", "&#43;10 to &#43;12", "The draft changes 0 lines", "Foot Posture Index manual")
	if page := r.sees("/office/posture?low-3=7"); strings.Contains(page, "changes 0 lines") || !strings.Contains(page, "&#43;7 to &#43;9") || !strings.Contains(page, "0 to &#43;6") || !strings.Contains(page, `name="source"`) {
		t.Error("the draft is not laid out with a form to publish it")
	}
	for address, says := range map[string]string{
		"?low-3=seven": "want a whole number",
		"?low-3=10":    "want a whole number from 11 to 12", // the band above begins at 10
		"?low-1=-12":   "want a whole number from -11 to 12",
	} {
		page := r.sees("/office/posture" + address)
		r.shows(page, says)
		if strings.Contains(page, `name="source"`) {
			t.Errorf("%s can be published", address)
		}
	}

	// Sums of 6 and 7 on the left foot, and one that an item is missing of.
	foot := func(items ...int) fields {
		f := fields{"length_mm": 262}
		for i, v := range items {
			f["fpi_"+strconv.Itoa(i+1)] = v
		}
		return f
	}
	for n, left := range []fields{foot(1, 1, 1, 1, 1, 1), foot(2, 1, 1, 1, 1, 1), foot(1, 1, 1, 1, 1)} {
		w := r.call("PUT", apiRoot+"/fittings/"+id(n+1), r.office(), soundFitting.with(fields{"left": left, "right": foot(0, 0, 0, 0, 0, 0)}))
		want(t, w, http.StatusCreated)
	}
	r.shows(r.sees("/office/posture?low-3=7"), "1 of 3 stored fittings with a whole sum would stand in another band", "pronated to neutral", "1 foot")
	if page := r.sees("/office/posture"); strings.Contains(page, "would stand") {
		t.Error("without a draft something would change")
	}

	n := 100
	sent := url.Values{"base": {"1"}, "low-1": {"−5"}, "low-3": {"7"}, "from": {"2026-10-06"}, "source": {"Norms of our own stores"}, "note": {"fewer called pronated"}}
	with := func(name, value string) url.Values {
		v := url.Values{}
		for k, all := range sent {
			v[k] = slices.Clone(all)
		}
		v.Set(name, value)
		return v
	}
	r.refused(r.send("/office/posture", with("from", "2026-10-05")), "a day after today", `value="fewer called pronated"`)
	r.refused(r.send("/office/posture", with("source", " ")), "where the bands come from")
	r.refused(r.send("/office/posture", with("note", "")), "why the bands change")
	r.refused(r.send("/office/posture", with("base", "0")), "set 1, which holds now")
	r.refused(r.send("/office/posture", with("low-3", "12")), "whole number from")
	r.refused(r.send("/office/posture", url.Values{"base": {"1"}, "from": {"2026-10-06"}, "source": {"x"}, "note": {"x"}}), "a draft that changes something")

	want(t, r.send("/office/posture", sent), http.StatusSeeOther)
	r.audited("posture_band.add", "posture_band:2")
	r.shows(r.sees("/office/posture?done=posture&of=2"), "Posture bands 2 are published.", "set 1 and draft", "fewer called pronated")

	context := decoded[struct {
		Bands []benchBands `json:"bands"`
	}](t, r.call("GET", "/bench/context.json", r.fitter(), nil))
	if w := []benchBands{{1, "2026-01-01", [5]int{-12, -4, 0, 6, 10}}, {2, "2026-10-06", [5]int{-12, -5, 0, 7, 10}}}; !slices.Equal(context.Bands, w) {
		t.Errorf("a tablet is given %v, want %v", context.Bands, w)
	}
	// A reading that comes with a sum is banded by the bands of its day, which may
	// be another than the day it comes.
	r.clock.advance(20 * time.Hour)
	for day, want := range map[string]string{"2026-10-05T11:00:00Z": "pronated", "2026-10-05T22:30:00Z": "neutral", "2026-10-06T07:00:00Z": "neutral"} {
		n++
		got := r.put(n, soundReading.with(fields{"at": day, "left": soundShoe.with(fields{"posture": 6})}))
		if band := got["left"].(map[string]any)["posture"]; band != want {
			t.Errorf("a sum of 6 on %s is %v, want %s", day, band, want)
		}
	}
	r.shows(r.sees("/office/posture"), "set 2 and draft", "Norms of our own stores", "&#43;7 to &#43;9")
	r.shows(r.sees("/methods"), "&#43;7 to &#43;9", "Norms of our own stores")
}
