package dashboard

import (
	"encoding/json"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"

	"golang.org/x/text/feature/plural"
	"golang.org/x/text/language"
)

// words is the text of the pages in one language, by key. A text names what is
// filled in between braces: "{n} to send". Where a text depends on a count it
// stands once for each plural form of its language, under key.one, key.other
// and so on (CLDR plural categories).
type words struct {
	tag  language.Tag
	text map[string]string
}

// fallback is the language of a reader none of whose languages is there.
var fallback = language.English

// pluralSuffix names the CLDR plural categories as keys do.
var pluralSuffix = map[plural.Form]string{
	plural.Other: ".other", plural.Zero: ".zero", plural.One: ".one",
	plural.Two: ".two", plural.Few: ".few", plural.Many: ".many",
}

// readWords reads every words/LANG.json of static, the fallback first. A
// language is a file: a key that it lacks is taken from the fallback.
func readWords(static fs.FS) ([]words, error) {
	names, err := fs.Glob(static, "words/*.json")
	if err != nil {
		return nil, err
	}
	var all []words
	for _, name := range names {
		tag, err := language.Parse(strings.TrimSuffix(path.Base(name), ".json"))
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		data, err := fs.ReadFile(static, name)
		if err != nil {
			return nil, err
		}
		w := words{tag: tag}
		if err := json.Unmarshal(data, &w.text); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		all = append(all, w)
	}
	first := slices.IndexFunc(all, func(w words) bool { return w.tag == fallback })
	if first < 0 {
		return nil, fmt.Errorf("words/%s.json is missing", fallback)
	}
	all[0], all[first] = all[first], all[0]
	for _, w := range all[1:] {
		for key, text := range all[0].text {
			if _, ok := w.text[key]; !ok {
				w.text[key] = text
			}
		}
	}
	return all, nil
}

// say returns the text of key with the fills put in, which come as name, value,
// name, value. A value named n that is a whole number chooses the plural form.
// A key without text comes back as it is, so that it can be seen.
func (w words) say(key string, fills ...any) string {
	text, ok := w.text[key]
	for i := 0; i+1 < len(fills); i += 2 {
		n, whole := fills[i+1].(int)
		if fills[i] != "n" || !whole {
			continue
		}
		form := plural.Cardinal.MatchPlural(w.tag, max(n, -n), 0, 0, 0, 0)
		for _, f := range []plural.Form{form, plural.Other} {
			if t, has := w.text[key+pluralSuffix[f]]; has {
				text, ok = t, true
				break
			}
		}
	}
	if !ok {
		return key
	}
	for i := 0; i+1 < len(fills); i += 2 {
		text = strings.ReplaceAll(text, fmt.Sprintf("{%v}", fills[i]), fmt.Sprint(fills[i+1]))
	}
	return text
}

// has reports whether key has a text, with or without plural forms.
func (w words) has(key string) bool {
	_, plain := w.text[key]
	_, counted := w.text[key+pluralSuffix[plural.Other]]
	return plain || counted
}

// roles lists the roles of somebody as the rail of a tablet names them.
func (w words) roles(id Identity) string {
	all := id.roles()
	for i, role := range all {
		all[i] = w.say("role." + role)
	}
	return strings.Join(all, ", ")
}

// word returns the screen's word for a word of the data: the text of
// scale.WORD with hyphens for spaces, else the word itself. A few words differ
// on screen, such as torsion, which is said twist.
func (w words) word(data string) string {
	key := "scale." + strings.ReplaceAll(data, " ", "-")
	if w.has(key) {
		return w.say(key)
	}
	return data
}
