package sim

// Every word below is invented for this package: the brands, the models and
// the towns are nobody's.

// brands make the shoes.
var brands = [...]string{
	"Okrendal", "Siltrune", "Garrowik", "Fennoq", "Wrendlok", "Muntrask", "Hodrumel", "Ulmhask",
}

// The halves of model names; maxModels is a name for each pair of halves and
// versionsPerName versions of it.
var (
	modelHeads = [...]string{
		"Drolm", "Fesk", "Glurn", "Hamsk", "Jurv", "Klomb", "Lusp", "Morv", "Nild", "Orsk",
		"Plandr", "Quisk", "Resk", "Smarv", "Trolm", "Ulst", "Vornd", "Wisk", "Yarm", "Zund",
	}
	modelTails = [...]string{"abo", "eft", "ika", "omel", "une", "arro", "isk", "ogan", "eth", "ulo"}
)

const (
	versionsPerName = 4
	maxModels       = len(modelHeads) * len(modelTails) * versionsPerName
)

// modelName returns the i-th name; every i below maxModels/versionsPerName has
// its own.
func modelName(i int) string {
	h := i % len(modelHeads)
	t := (h + i/len(modelHeads)) % len(modelTails)
	return modelHeads[h] + modelTails[t]
}

// The parts of town names; maxStores is a town for each combination.
var (
	townHeads = [...]string{
		"Brask", "Corl", "Dunv", "Elst", "Farn", "Gristl", "Harb", "Ivl", "Jend", "Keld",
		"Larch", "Mord", "Nars", "Olv", "Pendr", "Quar", "Rusk", "Selv", "Tarv", "Umber",
		"Vask", "Wexl", "Yelv", "Zarn", "Ashk", "Bolv", "Crev", "Drask", "Ersk", "Folm",
		"Gorst", "Hulv", "Ibsk", "Jarl", "Kresk", "Lomv", "Mulsk", "Nolv", "Orst", "Prisk",
		"Querv", "Rolv", "Skel", "Trusk", "Ulv", "Velst", "Worl", "Yarsk", "Zelm", "Ostr",
	}
	townTails = [...]string{"ander", "holt", "wick", "mere", "ing", "stow", "edge", "combe", "ley", "garth"}
	townParts = [...]string{"", " North", " South", " Quay"}
)

const maxStores = len(townHeads) * len(townTails) * len(townParts)

// townName returns the i-th town.
func townName(i int) string {
	h := i % len(townHeads)
	rest := i / len(townHeads)
	t := (h + rest) % len(townTails)
	return townHeads[h] + townTails[t] + townParts[rest/len(townTails)]
}

// What staff write where there is something to write.
var (
	notes = [...]string{
		"laces kept by the runner", "gravel between the lugs, brushed out", "runner took the insoles along",
		"paint on the right toe", "came in a wet bag, dried first", "second pair follows next week",
		"runner asks for the same model again", "name tag removed",
	}
	lessReasons = [...]string{
		"runner keeps them for the garden", "seen by two, wears them for walking only", "last race on Sunday, told the risk",
	}
	voidReasons    = [...]string{"wrong slip scanned", "entered twice", "practice reading"}
	offerWords     = [...]string{"trade-in offer", "double credit week", "end-of-range week"}
	raceWord       = "race weekend"
	consentVersion = "2024-1"
)
