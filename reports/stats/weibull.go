package stats

import "math"

// Weibull is a Weibull life S(t) = exp(−(t/scale)^shape) fitted by maximum
// likelihood. Mu = log scale and sigma = 1/shape; VCov is the covariance of
// (mu, log sigma). B10 and B50 are the distances by which 10 and 50 % have
// failed.
type Weibull struct {
	N      int `json:"n"`
	Events int `json:"events"`

	Shape     float64 `json:"shape"`
	ShapeLow  Float   `json:"shape_low"`
	ShapeHigh Float   `json:"shape_high"`
	Scale     float64 `json:"scale"`
	ScaleLow  Float   `json:"scale_low"`
	ScaleHigh Float   `json:"scale_high"`

	Mu     float64       `json:"mu"`
	Sigma  float64       `json:"sigma"`
	VCov   [2][2]float64 `json:"vcov"`
	LogLik float64       `json:"loglik"`

	B10     float64 `json:"b10"`
	B10Low  Float   `json:"b10_low"`
	B10High Float   `json:"b10_high"`
	B50     float64 `json:"b50"`
	B50Low  Float   `json:"b50_low"`
	B50High Float   `json:"b50_high"`

	// The limits by likelihood ratio are undefined on a side where the
	// likelihood never falls far enough.
	ShapeLRLow  Float `json:"shape_lr_low"`
	ShapeLRHigh Float `json:"shape_lr_high"`
	ScaleLRLow  Float `json:"scale_lr_low"`
	ScaleLRHigh Float `json:"scale_lr_high"`
	B10LRLow    Float `json:"b10_lr_low"`
	B10LRHigh   Float `json:"b10_lr_high"`
	B50LRLow    Float `json:"b50_lr_low"`
	B50LRHigh   Float `json:"b50_lr_high"`

	// Why says which limits are undefined, and why; Note warns where the data
	// are thin.
	Why  string `json:"why,omitempty"`
	Note string `json:"note,omitempty"`

	data  *weibullData
	theta []float64
	conf  float64
}

// fewEvents is the number of events below which a Weibull fit is flagged.
const fewEvents = 5 // house value; likelihood-ratio limits help below 20 (Jeng & Meeker 2000)

// FitWeibull fits a Weibull life to exact, right-, left- and
// interval-censored pairs, which add to log L
//
//	exact     log(β/η) + (β−1) log(t/η) − (t/η)^β
//	sound     −(t/η)^β
//	interval  log(S(lower) − S(upper)), S(0) = 1
//
// Limits ending in low and high are Wald limits, by the observed information
// on the scale of log shape, log scale or log distance; those with _lr_ hold
// all values whose profile likelihood is within χ²₁(conf)/2 of the maximum.
// Prefer the latter below 20 to 50 events.
//
// Errors: ErrBadInput (also for an exact life of 0), ErrEmpty; ErrNoEvents
// where no pair was seen worn; ErrNoMaximum where one distance parts all
// sound from all worn (the shape runs to infinity), where every pair was worn
// at its first look, or where pairs were seen once each and the worn ones at
// no longer distances than the sound ones (the shape runs to 0).
//
// Sources: Meeker WQ, Escobar LA (1998) Statistical Methods for Reliability
// Data, Wiley, ch. 8; Lawless JF (2003) Statistical Models and Methods for
// Lifetime Data, Wiley; Jeng SL, Meeker WQ (2000) Technometrics 42:135–148.
func FitWeibull(x []Interval, conf float64) (*Weibull, error) {
	if err := checkConf(conf); err != nil {
		return nil, err
	}
	x, err := tidyIntervals(x)
	if err != nil {
		return nil, err
	}
	data, err := newWeibullData([]weibullDesign{{x: []float64{1}, intervals: x}})
	if err != nil {
		return nil, err
	}
	if err := weibullExists(x); err != nil {
		return nil, err
	}
	theta, loglik, information, _ := data.maximise()
	if information == nil {
		return nil, ErrNotConverged.because("the search for the Weibull fit did not settle")
	}
	b, logSigma, cov, err := data.coefficients(theta, information)
	if err != nil {
		return nil, err
	}
	if math.IsInf(math.Exp(b[0]), 0) {
		return nil, ErrNoMaximum.because("the share worn hardly rises with distance, so the scale lies beyond any number")
	}
	w := &Weibull{
		N: data.n, Events: data.events,
		Shape: math.Exp(-logSigma), Scale: math.Exp(b[0]), Mu: b[0], Sigma: math.Exp(logSigma),
		VCov:   [2][2]float64{{cov.At(0, 0), cov.At(0, 1)}, {cov.At(0, 1), cov.At(1, 1)}},
		LogLik: loglik, data: data, theta: theta, conf: conf,
	}
	z := normalCritical(conf)
	w.ShapeLow, w.ShapeHigh = limitsOfLog(-logSigma, z*math.Sqrt(w.VCov[1][1]))
	w.ScaleLow, w.ScaleHigh = limitsOfLog(w.Mu, z*math.Sqrt(w.VCov[0][0]))
	w.B10, w.B10Low, w.B10High = w.wald(0.1)
	w.B50, w.B50Low, w.B50High = w.wald(0.5)
	w.likelihoodRatioLimits()
	if w.Events < fewEvents {
		w.Note = "fewer than 5 pairs were seen worn: the fit says little"
	}
	return w, nil
}

// weibullExists checks, exactly, that the log-likelihood of one group has one
// maximum: that it falls at last in every direction of (γ, β).
func weibullExists(x []Interval) error {
	lastSound, firstWorn := extremes(x)
	switch {
	case lastSound == 0:
		return ErrNoMaximum.because("every pair was worn at its first look, so the scale runs to 0")
	case lastSound <= firstWorn:
		return ErrNoMaximum.because("%g parts every pair seen sound from every pair seen worn, so the shape runs to infinity", lastSound)
	case !onlyOneLook(x):
		return nil
	}
	// With one look a pair the limit β → 0 keeps a likelihood above 0, and
	// log L rises from there only if the worn pairs were looked at later, in
	// mean log distance, than the sound ones.
	var worn, sound struct{ n, logs float64 }
	for _, v := range x {
		if v.Lower == 0 && !math.IsInf(v.Upper, 1) {
			worn.n += float64(v.N)
			worn.logs += float64(v.N) * math.Log(v.Upper)
		} else if v.Lower > 0 {
			sound.n += float64(v.N)
			sound.logs += float64(v.N) * math.Log(v.Lower)
		}
	}
	if worn.logs/worn.n <= sound.logs/sound.n {
		return ErrNoMaximum.because("pairs found worn had gone no farther than those found sound, so the share worn does not rise with distance")
	}
	return nil
}

// wald returns the distance by which a share p has failed, with its limits by
// the delta method on the log: log t_p = mu + sigma log(−log(1−p)).
func (w *Weibull) wald(p float64) (t float64, low, high Float) {
	su := w.Sigma * math.Log(-math.Log1p(-p))
	se := math.Sqrt(w.VCov[0][0] + 2*su*w.VCov[0][1] + su*su*w.VCov[1][1])
	low, high = limitsOfLog(w.Mu+su, normalCritical(w.conf)*se)
	return math.Exp(w.Mu + su), low, high
}

// beyondNumbers says why a limit of a law hardly known is undefined.
const beyondNumbers = "beyond what a number holds"

// limitsOfLog returns e^(log ∓ half), undefined where that is no number, or so
// small that it would come out as 0.
func limitsOfLog(log, half float64) (low, high Float) {
	return exponential(log - half), exponential(log + half)
}

// exponential returns e^x, undefined where it is no number above 0.
func exponential(x float64) Float {
	v := math.Exp(x)
	if v == 0 {
		return None
	}
	return Some(v)
}

// LifeQuantile is the distance by which a share of pairs has failed.
type LifeQuantile struct {
	Share  float64 `json:"share"`
	Km     Float   `json:"km"`
	Low    Float   `json:"low"`
	High   Float   `json:"high"`
	LRLow  Float   `json:"lr_low"`
	LRHigh Float   `json:"lr_high"`
}

// Quantile returns the distance by which a share p has failed, with Wald and
// likelihood-ratio limits at the level of the fit.
//
// Errors: ErrBadInput for p outside (0, 1).
func (w *Weibull) Quantile(p float64) (*LifeQuantile, error) {
	if !(p > 0 && p < 1) {
		return nil, badInput("share is %v, must lie between 0 and 1", p)
	}
	q := &LifeQuantile{Share: p}
	km, low, high := w.wald(p)
	q.Km, q.Low, q.High = Some(km), low, high
	q.LRLow, q.LRHigh = w.profileQuantile(p)
	return q, nil
}

// Failed returns the share failed by distance t: 1 − S(t).
func (w *Weibull) Failed(t float64) float64 {
	if t <= 0 {
		return 0
	}
	return -math.Expm1(-math.Exp((math.Log(t) - w.Mu) / w.Sigma))
}
