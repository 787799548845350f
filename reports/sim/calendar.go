package sim

import "time"

// Time runs in ticks of operational time: running and visiting follow the
// season and the days of the week, so a day holds more ticks the busier it is.
// A mean day holds ticks of them.
const ticks = 1024

// The season and the week, in percent of a mean day; Sunday is closed. House
// assumptions: busiest in spring and before the autumn races.
var (
	monthWeight = [...]int{
		time.January: 88, time.February: 92, time.March: 108, time.April: 118, time.May: 112, time.June: 100,
		time.July: 90, time.August: 90, time.September: 112, time.October: 110, time.November: 92, time.December: 88,
	}
	weekdayWeight = [...]int{
		time.Sunday: 0, time.Monday: 90, time.Tuesday: 95, time.Wednesday: 100,
		time.Thursday: 105, time.Friday: 120, time.Saturday: 190,
	}
)

// burnDays is how long before the window the first pairs are bought.
const burnDays = 330

// tickGrain is the grain of the index from ticks to days.
const tickGrain = 512

// buildCalendar lays out the days: burn before the window, then the window of
// whole months that ends with the day of end.
func (f *Fleet) buildCalendar(end time.Time, months int) {
	last := time.Date(end.Year(), end.Month(), end.Day(), 0, 0, 0, 0, time.UTC)
	f.start = last.AddDate(0, 0, 1).AddDate(0, -months, 0)
	window := int(last.AddDate(0, 0, 1).Sub(f.start).Hours()) / 24
	f.burn, f.days = burnDays, burnDays+window
	f.years = (months + 11) / 12

	f.cum = make([]int32, f.days+1)
	f.dates = make([]string, f.days+1)
	f.month = make([]int32, f.days+1)
	for day := range f.days + 1 {
		date := f.start.AddDate(0, 0, day-f.burn)
		f.dates[day] = date.Format(time.DateOnly)
		f.month[day] = int32(date.Year()*12 + int(date.Month()) - 1)
		if day < f.days {
			f.cum[day+1] = f.cum[day] + int32(ticks*monthWeight[date.Month()]*weekdayWeight[date.Weekday()]/10000)
		}
	}
	f.dayIndex = make([]int32, f.cum[f.days]/tickGrain+2)
	day := int32(0)
	for i := range f.dayIndex {
		for int(day) < f.days && f.cum[day+1] <= int32(i*tickGrain) {
			day++
		}
		f.dayIndex[i] = day
	}
}

// dayOf returns the day of a tick, counted from the start of the calendar. A
// tick past the end is on the day after the last.
func (f *Fleet) dayOf(tick int32) int {
	if tick >= f.cum[f.days] {
		return f.days
	}
	day := int(f.dayIndex[tick/tickGrain])
	for f.cum[day+1] <= tick {
		day++
	}
	return day
}

// date returns the date of a day, which may lie outside of the calendar.
func (f *Fleet) date(day int) string {
	if day >= 0 && day < len(f.dates) {
		return f.dates[day]
	}
	return f.start.AddDate(0, 0, day-f.burn).Format(time.DateOnly)
}
