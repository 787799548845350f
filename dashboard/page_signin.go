package dashboard

import (
	"math"
	"net/http"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"solewright/models"
	"solewright/models/retail"
)

// signInPage asks who is there: on a store's tablet by the tags of its staff
// and a PIN, elsewhere by code and password.
type signInPage struct {
	// Staff is the code typed or tapped before, kept when a try failed.
	Staff string
	// Next is the path to go on to.
	Next string
	// Message says why the last try failed.
	Message string

	// Tablet is the enrolled tablet the page is on, nil where it is none or a
	// password was asked for.
	Tablet *tabletView
	// Tags are the people of the tablet's store.
	Tags []staffTag
	// ByPassword says that the page is on a tablet, but asks for a password.
	ByPassword bool
	// Lapsed says that this was a store's tablet and is none any more.
	Lapsed bool
	// Provider says that there is a provider to sign in by.
	Provider bool
	// Minutes is after how many quiet minutes a tablet locks itself.
	Minutes int
}

// Digits are the keys of the PIN pad above the last row.
func (signInPage) Digits() []int { return []int{1, 2, 3, 4, 5, 6, 7, 8, 9} }

// tabletView is a store's tablet as its pages name it.
type tabletView struct{ Code, Store, StoreName string }

// staffTag is one person on the rail.
type staffTag struct {
	Code string
	// Mark is the drawing the person chose, empty for none yet.
	Mark    string
	Role    string
	Trainee bool
	// HasPIN says that the person can sign in here by PIN.
	HasPIN bool
	Picked bool
}

// showSignIn answers with the sign-in page.
func (s *Server) showSignIn(c *gin.Context, status int, view signInPage) error {
	view.Provider = s.provider != nil
	device := s.who(c).Device
	if device == "" {
		_, err := c.Request.Cookie(s.deviceCookie())
		view.Lapsed = err == nil
		return s.render(c, status, "sign-in", view)
	}
	view.ByPassword = view.ByPassword || c.Query("with") == "password"
	if view.ByPassword {
		if view.Staff == "" {
			view.Staff = c.Query("staff")
		}
		return s.render(c, status, "sign-in", view)
	}
	tablet, err := s.tablet(c)
	if err != nil {
		return err
	}
	view.Tablet, view.Minutes = tablet, int(math.Ceil(s.cfg.LockAfter.Minutes()))
	staff, err := s.db.StaffAt(c.Request.Context(), tablet.Store)
	if err != nil {
		return err
	}
	w := s.words(c)
	for _, a := range staff {
		view.Tags = append(view.Tags, staffTag{
			Code: a.Code, Mark: a.Mark, Role: w.roles(identityOf(&a)), Trainee: a.Holds(retail.Trainee),
			HasPIN: a.HasPIN, Picked: a.HasPIN && a.Code == view.Staff,
		})
	}
	return s.render(c, status, "sign-in", view)
}

// tablet returns the enrolled tablet that the request comes from, nil where it
// is none.
func (s *Server) tablet(c *gin.Context) (*tabletView, error) {
	d, err := s.device(c)
	if err != nil || d.Code == "" {
		return nil, err
	}
	at, err := s.store(c.Request.Context(), d.Store)
	return &tabletView{Code: d.Code, Store: d.Store, StoreName: at.Name}, err
}

// enrolPage makes a browser a store's tablet.
type enrolPage struct {
	// Tablet is what this browser is already, nil for nothing.
	Tablet *tabletView
	// Lapsed says that it was one, and was revoked.
	Lapsed bool
	// Message says why the last code wasn't taken.
	Message string
}

// showEnrol asks for an enrolment code, or says whose tablet this is.
func (s *Server) showEnrol(c *gin.Context) error { return s.showEnrolling(c, http.StatusOK, "") }

func (s *Server) showEnrolling(c *gin.Context, status int, message string) error {
	tablet, err := s.tablet(c)
	if err != nil {
		return err
	}
	_, noCookie := c.Request.Cookie(s.deviceCookie())
	return s.render(c, status, "enrol", enrolPage{Tablet: tablet, Lapsed: tablet == nil && noCookie == nil, Message: message})
}

// enrol makes this browser a store's tablet, for whoever types the enrolment
// code that the office was given.
func (s *Server) enrol(c *gin.Context) error {
	fields, err := form(c)
	if err != nil {
		return err
	}
	_, secret, err := s.db.EnrolDevice(c.Request.Context(), strings.TrimSpace(fields.Get("enrolment")), c.ClientIP())
	if err != nil {
		f, w := answerTo(err), s.words(c)
		var message string
		switch f.class {
		case badValues:
			message = w.say("enrol.no-code")
		case forbidden:
			message = w.say("enrol.wrong-code")
		case tooMany:
			message = w.say("signin.too-many", "n", minutes(f.wait))
		default:
			return err
		}
		return s.showEnrolling(c, s.failed(c, err).status, message)
	}
	http.SetCookie(c.Writer, &http.Cookie{
		Name: s.deviceCookie(), Value: secret, Path: "/", MaxAge: int(tabletLife.Seconds()),
		Secure: !s.cfg.InsecureCookies, HttpOnly: true, SameSite: http.SameSiteLaxMode,
	})
	c.Redirect(http.StatusSeeOther, "/enrol")
	return nil
}

// minutes is a wait as people are told it: begun minutes count.
func minutes(d time.Duration) int { return int(math.Ceil(d.Minutes())) }

// mePage is what a person says about themselves.
type mePage struct {
	Code, Mark, Lang string
	Marks            []string
	Langs            []langChoice
	HasPIN           bool
	Saved            bool
	Message          string
}

// langChoice is a language by its own name.
type langChoice struct{ Tag, Name string }

// showMe answers with the page on which a person chooses mark, language and PIN.
func (s *Server) showMe(c *gin.Context) error {
	return s.showMyself(c, http.StatusOK, mePage{Saved: c.Query("saved") != ""})
}

func (s *Server) showMyself(c *gin.Context, status int, view mePage) error {
	a, err := s.db.Account(c.Request.Context(), s.who(c).Code)
	if err != nil {
		return err
	}
	view.Code, view.Mark, view.Lang, view.HasPIN = a.Code, a.Mark, a.Lang, a.HasPIN
	view.Marks, view.Langs = retail.Marks, s.pages.choices()
	if view.Lang == "" {
		view.Lang = s.words(c).tag.String()
	}
	return s.render(c, status, "me", view)
}

// saveMe stores what a person chose. A new PIN takes the password, so that a
// tablet left open gives nobody a way in for good.
func (s *Server) saveMe(c *gin.Context) error {
	fields, err := form(c)
	if err != nil {
		return err
	}
	ctx, who := c.Request.Context(), s.who(c)
	if mark := fields.Get("mark"); mark != "" {
		if err := s.db.SetMark(ctx, who.actor(), who.Code, mark); err != nil {
			return err
		}
	}
	if lang := fields.Get("lang"); lang != "" {
		if err := s.db.SetLang(ctx, who.actor(), who.Code, lang); err != nil {
			return err
		}
	}
	s.known.accounts.forget(who.Code)
	if pin := fields.Get("pin"); pin != "" {
		a, err := s.db.SignIn(ctx, who.Code, fields.Get("password"), c.ClientIP())
		if err == nil {
			err = s.db.SetPIN(ctx, models.Actor{Account: a.Code, Device: who.Device}, a.Code, pin)
		}
		if f := answerTo(err); err != nil {
			w := s.words(c)
			message := map[*class]string{
				forbidden: w.say("me.wrong-password"), badValues: w.say("me.bad-pin"), tooMany: w.say("signin.too-many", "n", minutes(f.wait)),
			}[f.class]
			if message == "" {
				return err
			}
			return s.showMyself(c, s.failed(c, err).status, mePage{Message: message})
		}
		// The new PIN ended the session, here too.
		s.known.accounts.forget(who.Code)
		if a, err = s.db.Account(ctx, who.Code); err != nil {
			return err
		}
		if err := s.openSession(c, a); err != nil {
			return err
		}
	}
	c.Redirect(http.StatusSeeOther, "/me?saved=1")
	return nil
}
