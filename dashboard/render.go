package dashboard

import (
	"bytes"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"path"
	"strings"

	"github.com/gin-gonic/gin"
	"golang.org/x/text/language"
)

// frame is what the layout sees: the page's own view, and what stands around
// every page. Inside a page's "main" the dot is the view alone.
type frame struct {
	Lang string
	Who  Identity
	// Path is where the reader is, to come back to.
	Path string
	// Quiet is after how many seconds without a touch the page locks itself, 0
	// for never.
	Quiet float64
	// Langs are the languages there are, where there is more than one.
	Langs []langChoice
	// Nav are the pages this person has, in order.
	Nav  []navItem
	View any
}

// navItem is one way through the top bar.
type navItem struct {
	Path, Key string
	Here      bool
}

// navigation lists the pages of the top bar. A line is shown where its route
// exists and the reader has the right to it.
var navigation = []navItem{
	{Path: "/bench", Key: "nav.bench"},
	{Path: "/fleet", Key: "nav.fleet"},
	{Path: "/office", Key: "nav.office"},
	{Path: "/methods", Key: "nav.methods"},
}

// pages holds one template set for each page and language: layout, partials
// and the page.
type pages struct {
	langs   []words
	matcher language.Matcher
	sets    map[string]*template.Template // by LANG/NAME
}

// readPages parses templates/pages/*.html, each with the layout and all
// partials, once for each language.
func readPages(templates fs.FS, langs []words, a *assets) (*pages, error) {
	p := &pages{langs: langs, sets: map[string]*template.Template{}}
	var tags []language.Tag
	names, err := fs.Glob(templates, "pages/*.html")
	if err != nil {
		return nil, err
	}
	for _, w := range langs {
		tags = append(tags, w.tag)
		for _, name := range names {
			set, err := template.New("layout.html").Option("missingkey=error").
				Funcs(template.FuncMap{"t": w.say, "word": w.word, "asset": a.url}).
				ParseFS(templates, "layout.html", "partials/*.html", name)
			if err != nil {
				return nil, err
			}
			p.sets[w.tag.String()+"/"+strings.TrimSuffix(path.Base(name), ".html")] = set
		}
	}
	p.matcher = language.NewMatcher(tags)
	return p, nil
}

// lang returns the words for a reader with the given Accept-Language header.
func (p *pages) lang(accept string) words {
	wanted, _, err := language.ParseAcceptLanguage(accept)
	if err != nil {
		return p.langs[0]
	}
	_, i, _ := p.matcher.Match(wanted...)
	return p.langs[i]
}

// execute returns the page name in its frame.
func (p *pages) execute(name string, f frame) ([]byte, error) {
	set, ok := p.sets[f.Lang+"/"+name]
	if !ok {
		return nil, fmt.Errorf("no page %q in %q", name, f.Lang)
	}
	var b bytes.Buffer
	if err := set.Execute(&b, f); err != nil {
		return nil, fmt.Errorf("page %s: %w", name, err)
	}
	return b.Bytes(), nil
}

// render executes the page name with its view and writes it. It writes
// nothing where that fails, so that the caller can still answer.
func (s *Server) render(c *gin.Context, status int, name string, view any) error {
	return s.deliver(c, status, name, view, "private, no-cache")
}

// renderOnce is render for a page that holds a secret: no cache keeps it.
func (s *Server) renderOnce(c *gin.Context, status int, name string, view any) error {
	return s.deliver(c, status, name, view, "no-store")
}

func (s *Server) deliver(c *gin.Context, status int, name string, view any, keep string) error {
	html, err := s.pages.execute(name, s.frame(c, view))
	if err != nil {
		return err
	}
	c.Header("Cache-Control", keep)
	c.Header("Vary", "Accept-Language, Cookie")
	c.Data(status, "text/html; charset=utf-8", html)
	return nil
}

// frame is what stands around a view for the one who asks.
func (s *Server) frame(c *gin.Context, view any) frame {
	f := frame{
		Lang: s.words(c).tag.String(), Who: s.who(c), Nav: s.nav(c), Path: c.Request.URL.RequestURI(),
		Langs: s.pages.choices(), View: view,
	}
	if f.Who.Known() && f.Who.Device != "" {
		f.Quiet = s.cfg.LockAfter.Seconds()
	}
	return f
}

// words returns the text of the pages in the reader's language: the one the
// person chose, else the one chosen on this browser, else what the browser asks
// for.
func (s *Server) words(c *gin.Context) words {
	if lang := s.who(c).Lang; lang != "" {
		return s.pages.lang(lang)
	}
	if cookie, err := c.Request.Cookie(langCookie); err == nil {
		return s.pages.lang(cookie.Value)
	}
	return s.pages.lang(c.GetHeader("Accept-Language"))
}

// langCookie holds the language that was chosen on a browser.
const langCookie = "lang"

// chooseLanguage keeps a language for this browser, and for the person who is
// signed in.
func (s *Server) chooseLanguage(c *gin.Context) error {
	fields, err := form(c)
	if err != nil {
		return err
	}
	lang := s.pages.lang(fields.Get("lang")).tag.String()
	if who := s.who(c); who.Known() {
		if err := s.db.SetLang(c.Request.Context(), who.actor(), who.Code, lang); err != nil {
			return err
		}
		s.known.accounts.forget(who.Code)
	}
	http.SetCookie(c.Writer, &http.Cookie{
		Name: langCookie, Value: lang, Path: "/", MaxAge: int(tabletLife.Seconds()),
		Secure: !s.cfg.InsecureCookies, HttpOnly: true, SameSite: http.SameSiteLaxMode,
	})
	c.Redirect(http.StatusSeeOther, localPath(fields.Get("next")))
	return nil
}

// choices lists the languages, each by its own name.
func (p *pages) choices() []langChoice {
	var all []langChoice
	for _, w := range p.langs {
		all = append(all, langChoice{Tag: w.tag.String(), Name: w.say("language")})
	}
	return all
}

// nav returns the pages that the reader has and that exist.
func (s *Server) nav(c *gin.Context) []navItem {
	if !s.who(c).Known() {
		return nil
	}
	var items []navItem
	for _, item := range navigation {
		if s.opens(s.who(c), item.Path) {
			item.Here = c.Request.URL.Path == item.Path || strings.HasPrefix(c.Request.URL.Path, item.Path+"/")
			items = append(items, item)
		}
	}
	return items
}
