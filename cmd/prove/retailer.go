package main

import (
	"os"

	"solewright/models/retail"
	"solewright/reports/sim"
)

// settle imports the places, people and models of an invented retailer, and
// returns the secret of a token that may do everything.
func (l *lab) settle(db string, fleet *sim.Fleet) (string, error) {
	regions := map[string]string{}
	for _, r := range fleet.Regions {
		regions[r.Code] = r.Name
	}
	stores := retail.StoreLines.CSV.AppendHeader(nil)
	for _, s := range fleet.Stores {
		stores = retail.StoreLines.CSV.Append(stores, &retail.StoreLine{Store: s, RegionName: regions[s.Region]})
	}
	staff := retail.StaffList.CSV.AppendHeader(nil)
	for i := range fleet.Staff {
		staff = retail.StaffList.CSV.Append(staff, &fleet.Staff[i])
	}
	shoes := retail.ShoeModels.CSV.AppendHeader(nil)
	for i := range fleet.Models {
		shoes = retail.ShoeModels.CSV.Append(shoes, &fleet.Models[i])
	}
	if _, _, err := l.solewright(nil, "migrate", "--db", db); err != nil {
		return "", err
	}
	for _, kind := range []struct {
		name string
		file []byte
	}{{"stores", stores}, {"staff", staff}, {"shoe-models", shoes}} {
		name := l.path(kind.name + ".csv")
		if err := os.WriteFile(name, kind.file, 0o600); err != nil {
			return "", err
		}
		if _, _, err := l.solewright(nil, "import", kind.name, name, "--db", db); err != nil {
			return "", err
		}
	}
	secret, _, err := l.solewright(nil, "token", "add", "proof", "--role", "office", "--db", db)
	return secret, err
}
