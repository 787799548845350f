package assess

import "time"

// recordObject is the JSON of readings.
var recordObject = NewObject(recordFields, finishRecord)

// DecodeJSON reads one reading from JSON: the words of the CSV, with left and
// right objects instead of the l_ and r_ prefixes. It is strict and reports
// everything that is wrong at once, each with its JSON pointer, such as
// /left/heel_medial; the error is then a FieldErrors.
//
// Numbers are JSON numbers; grades, bands, sides and postures may be strings
// too. Flags, edge and second_on are arrays of strings, or one string with
// spaces between. Yes and no may be true and false. null stands for absent.
func DecodeJSON(text []byte) (Record, error) { return recordObject.Decode(text) }

// AppendJSON appends r as JSON in canonical form to dst: members in the order
// of the CSV, absent ones left out, no white space.
func AppendJSON(dst []byte, r *Record) []byte { return recordObject.Append(dst, r) }

// Canonical returns the bytes by which two bodies are the same reading: the
// canonical JSON of what the sender says. Key order, white space, aliases of
// words, the zone of instants and the way of writing numbers don't show. What
// the receiver adds is left out: received_at and the flags. A verdict that the
// sender did not advise must be filled in only after this is taken, or the same
// body sent again would differ.
func Canonical(r *Record) []byte {
	sent := *r
	sent.ReceivedAt, sent.Flags = time.Time{}, 0
	return AppendJSON(nil, &sent)
}
