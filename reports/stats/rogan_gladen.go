package stats

import "math"

// Prevalence is a share corrected for known errors of reading.
type Prevalence struct {
	// Apparent is the share as read, Raw the corrected one, which may leave
	// 0–1; Estimate, Low and High are cut to it.
	Apparent float64 `json:"apparent"`
	Raw      float64 `json:"raw"`
	Estimate float64 `json:"estimate"`
	// SE, Low and High are by the delta method; undefined where sensitivity
	// and specificity were given as known, then Low and High come from Wilson.
	SE   Float   `json:"se"`
	Low  float64 `json:"low"`
	High float64 `json:"high"`
	// LRLow and LRHigh are the limits of Lang & Reiczigel, right in small
	// samples too.
	LRLow  Float `json:"lr_low"`
	LRHigh Float `json:"lr_high"`
}

// ErrUninformative says that a reading tells nothing about the truth.
var ErrUninformative = &Reason{"uninformative", "sensitivity and specificity sum to 1 or less, so the readings tell nothing"}

// Reading is hits of size as read; hits need not be whole.
type Reading struct{ Hits, Size float64 }

func (r Reading) share(what string) (float64, error) {
	if !(r.Hits >= 0 && r.Hits <= r.Size) || math.IsInf(r.Size, 0) {
		return 0, badInput("%s has %v hits of %v, must lie in 0 to size", what, r.Hits, r.Size)
	}
	if r.Size == 0 {
		return 0, ErrEmpty.because("%s has no pairs", what)
	}
	return r.Hits / r.Size, nil
}

// RoganGladen corrects a share p for readers whose sensitivity Se and
// specificity Sp were measured on pairs of known state:
//
//	θ = (p + Sp − 1)/(Se + Sp − 1)
//	Var = [p(1−p)/n + θ² Se(1−Se)/n_Se + (1−θ)² Sp(1−Sp)/n_Sp] / (Se + Sp − 1)²
//
// and gives the interval of Lang & Reiczigel besides: with Se' and Sp' from
// one more hit and one more miss, p' = (np + z²/2)/(n + z²), θ' from these and
//
//	dt = 2z² [θ' Se'(1−Se')/(n_Se+2) − (1−θ') Sp'(1−Sp')/(n_Sp+2)]
//	SE' = √(p'(1−p')/(n+z²) + θ'² Se'(1−Se')/(n_Se+2) + (1−θ')² Sp'(1−Sp')/(n_Sp+2)) / (Se'+Sp'−1)
//
// it is θ' + dt ∓ z SE'. To be shown beside the share as read, never instead.
//
// Errors: ErrEmpty for an empty sample, ErrUninformative for Se + Sp ≤ 1,
// ErrBadInput for hits outside 0–size or conf outside (0, 1).
//
// Sources: Rogan WJ, Gladen B (1978) American Journal of Epidemiology
// 107:71–76; Lang Z, Reiczigel J (2014) Preventive Veterinary Medicine
// 113:13–22.
func RoganGladen(read, sensitivity, specificity Reading, conf float64) (*Prevalence, error) {
	if err := checkConf(conf); err != nil {
		return nil, err
	}
	p, err := read.share("the reading")
	if err != nil {
		return nil, err
	}
	se, err := sensitivity.share("sensitivity")
	if err != nil {
		return nil, err
	}
	sp, err := specificity.share("specificity")
	if err != nil {
		return nil, err
	}
	youden := se + sp - 1
	if !(youden > 0) {
		return nil, ErrUninformative
	}
	z := normalCritical(conf)
	theta := (p + sp - 1) / youden
	variance := p*(1-p)/read.Size + theta*theta*se*(1-se)/sensitivity.Size +
		(1-theta)*(1-theta)*sp*(1-sp)/specificity.Size
	err1 := math.Sqrt(variance) / youden
	r := &Prevalence{
		Apparent: p, Raw: theta, Estimate: unit(theta), SE: Some(err1),
		Low: unit(theta - z*err1), High: unit(theta + z*err1),
	}
	zz := z * z
	nSe, nSp := sensitivity.Size+2, specificity.Size+2
	se, sp, p = (sensitivity.Hits+1)/nSe, (specificity.Hits+1)/nSp, (read.Hits+zz/2)/(read.Size+zz)
	if youden = se + sp - 1; youden > 0 {
		theta = (p + sp - 1) / youden
		a, b := se*(1-se)/nSe, sp*(1-sp)/nSp
		shift := 2 * zz * (theta*a - (1-theta)*b)
		half := z * math.Sqrt(p*(1-p)/(read.Size+zz)+theta*theta*a+(1-theta)*(1-theta)*b) / youden
		r.LRLow, r.LRHigh = Some(unit(theta+shift-half)), Some(unit(theta+shift+half))
	}
	return r, nil
}

// RoganGladenKnown corrects a share for sensitivity and specificity taken as
// known; the limits are Wilson's of the share as read, put through the
// formula.
//
// Errors as RoganGladen.
func RoganGladenKnown(read Reading, sensitivity, specificity, conf float64) (*Prevalence, error) {
	p, err := read.share("the reading")
	if err != nil {
		return nil, err
	}
	if !(sensitivity >= 0 && sensitivity <= 1 && specificity >= 0 && specificity <= 1) {
		return nil, badInput("sensitivity %v and specificity %v, must lie in 0–1", sensitivity, specificity)
	}
	youden := sensitivity + specificity - 1
	if !(youden > 0) {
		return nil, ErrUninformative
	}
	low, high, err := Wilson(read.Hits, read.Size, conf)
	if err != nil {
		return nil, err
	}
	truth := func(p float64) float64 { return (p + specificity - 1) / youden }
	return &Prevalence{
		Apparent: p, Raw: truth(p), Estimate: unit(truth(p)),
		Low: unit(truth(low)), High: unit(truth(high)),
	}, nil
}

// unit cuts a share to 0–1.
func unit(p float64) float64 { return math.Min(1, math.Max(0, p)) }
