package sim

// The planted problems; the package comment describes them.
const (
	// plantedModel and plantedBatch are places in the list of names. Both
	// models sell well, planted or not, so that there is enough to find.
	plantedModel      = 25
	plantedBatch      = 14
	plantedPopularity = 11
	// plantedForeMedialPct multiplies the wear of the inner forefoot.
	plantedForeMedialPct = 230
	// plantedGluePct of the batch's pairs have a bond that parts at a Weibull
	// life with the scale of plantedGlueKM.
	plantedGluePct = 55
	plantedGlueKM  = 150
	// plantedStore is the place of the store whose people read hard: the
	// chances to read one step too worn grow by these.
	plantedStore    = 9
	plantedHardUp   = 32 // % of zone grades
	plantedHardWord = 9  // % of words
	plantedHardLean = 80 // hundredths of a degree more lean than there is
)

// Plants says where the planted problems are. The places are named whether or
// not anything was planted there, so that a fleet with and one without can be
// compared.
type Plants struct {
	// Model wears its inner forefoot under pronated and highly pronated gait.
	Model int
	// BatchModel is the model and Batch the code of the run whose bond fails early.
	BatchModel int
	Batch      string
	// Store is the place of the store that reads hard.
	Store int
	// Planted says that the problems are there.
	Planted bool
}

// Plants returns where the planted problems are, by place in Models and Stores.
func (f *Fleet) Plants() Plants {
	p := f.planted
	p.Store, p.Planted = plantedStore, f.plant
	return p
}
