package models

import (
	"strings"
	"unicode"

	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"
)

// folded returns s as two spellings of the same words agree on it: compatible
// forms made one (NFKC), case folded in full (ß is ss), runs of space made one
// space. Accents stay: they tell words apart. It is done here because the
// databases differ in what they fold.
func folded(s string) string {
	s = cases.Fold().String(norm.NFKC.String(s))
	return strings.Join(strings.Fields(norm.NFC.String(s)), " ")
}

// searchable returns the words of s as type-ahead looks for them: folded, and
// without accents, because a search should find more rather than less.
func searchable(s string) string {
	var b strings.Builder
	for _, r := range norm.NFKD.String(folded(s)) {
		if !unicode.Is(unicode.Mn, r) {
			b.WriteRune(r)
		}
	}
	return b.String()
}

// identity returns the key of a shoe model: brand, model and version folded.
func identity(brand, model, version string) string {
	return folded(brand) + "\n" + folded(model) + "\n" + folded(version)
}

// likeWord returns a LIKE pattern, with \ as its escape, for text in which a
// word begins with w. The text must begin with a space.
func likeWord(w string) string {
	return "% " + strings.NewReplacer(`\`, `\\`, `%`, `\%`, `_`, `\_`).Replace(w) + "%"
}
