package retail_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"strings"
	"testing"

	"solewright/assess"
	"solewright/models/retail"
)

// codec is one format without its type.
type codec struct {
	name, header string
	// decode reads a whole file and returns its rows written again, in CSV with
	// the header and in JSON one by one, and the problems of the others.
	decode func(text []byte) (csv []byte, rows [][]byte, problems assess.FieldErrors, err error)
	// decodeJSON reads one row and writes it again.
	decodeJSON func(text []byte) ([]byte, error)
}

func codecOf[T any](name string, f retail.Format[T]) codec {
	return codec{
		name:   name,
		header: strings.TrimSuffix(string(f.CSV.AppendHeader(nil)), "\r\n"),
		decode: func(text []byte) (csv []byte, rows [][]byte, problems assess.FieldErrors, err error) {
			d, err := f.CSV.Decoder(bytes.NewReader(text))
			if err != nil {
				return nil, nil, nil, err
			}
			csv = f.CSV.AppendHeader(nil)
			for {
				var v T
				err := d.Decode(&v)
				bad, refused := errors.AsType[assess.FieldErrors](err)
				switch {
				case err == io.EOF:
					return csv, rows, problems, nil
				case refused:
					problems = append(problems, bad...)
				case err != nil:
					return nil, nil, nil, err
				default:
					csv = f.CSV.Append(csv, &v)
					rows = append(rows, f.JSON.Append(nil, &v))
				}
			}
		},
		decodeJSON: func(text []byte) ([]byte, error) {
			v, err := f.JSON.Decode(text)
			return f.JSON.Append(nil, &v), err
		},
	}
}

var codecs = []codec{
	codecOf("regions", retail.Regions), codecOf("stores", retail.StoreLines), codecOf("staff", retail.StaffList),
	codecOf("shoe-models", retail.ShoeModels), codecOf("runners", retail.Runners), codecOf("fittings", retail.Fittings),
	codecOf("sales", retail.Sales), codecOf("events", retail.Events),
}

// A file in any order of columns, with what people write, comes out in
// canonical form, and that form comes out as it is: the same file twice is no
// change.
func TestFilesComeOutInOneForm(t *testing.T) {
	const id, ref = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f", "0000016JD"
	for _, tt := range []struct{ kind, in, out string }{
		{"regions", "name,currency,region\nNorth,EUR,N\n", "region,name,currency\r\nN,North,EUR\r\n"},
		{
			"stores", "zone,unit,currency,region_name,region,store\nEurope/Madrid,km,EUR,\"North, upper\",N,S-1\n",
			"store,name,region,region_name,zone,currency,unit,retired\r\nS-1,,N,\"North, upper\",Europe/Madrid,EUR,km,\r\n",
		},
		{
			"staff", "also,staff,role,scopes\n,F-1,manager,region:N  store:S-1\ntrainer@fleet  fitter@store:S-1,F-2,office,fleet\n",
			"staff,role,scopes,also,retired\r\nF-1,manager,region:N store:S-1,,\r\nF-2,office,fleet,trainer@fleet fitter@store:S-1,\r\n",
		},
		{
			"shoe-models", "model,brand,gtins,rigid_counter,flex,built,drop_mm\nArc,Velm,6291041500213 96385074,NO,2,toe_lateral mid_medial,0\n",
			"model_id,brand,model,version,category,gtins,built,rigid_counter,plate,trail,tilt,lean,depth_heel,depth_mid,depth_fore,depth_toe,flex,torsion,shore,asker,cushioning,medial_support,stack_mm,drop_mm,flexibility,widths,released,retired,typed_in\r\n" +
				",Velm,Arc,,,06291041500213 00000096385074,mid_medial toe_lateral,no,no,no,,,,,,,moderate,,,,,,,0,,,,,no\r\n",
		},
		{
			"runners", "runner,unit,mass_band,teaching_photos_on,teaching_photos_text\nR-1,mi,60-74,2026-10-05,v2\n",
			"runner,teaching_photos_on,teaching_photos_text,health_notes_on,health_notes_text,unit,mass_band\r\nR-1,2026-10-05,v2,,,mi,60-74\r\n",
		},
		{
			"fittings", "fitting_id,store,staff,at,l_length_mm,l_fpi_1,r_fpi_6,gait,before_wear,old_pair,surfaces\n" + id + ",S-1,F-1,2026-10-05T16:03:00+02:00,262,-2,+1,Highly-Pronated,yes," + strings.ToLower(ref) + ",road trail\n",
			"fitting_id,store,staff,runner,at,l_length_mm,l_width_mm,l_fpi_1,l_fpi_2,l_fpi_3,l_fpi_4,l_fpi_5,l_fpi_6,l_strike_index,r_length_mm,r_width_mm,r_fpi_1,r_fpi_2,r_fpi_3,r_fpi_4,r_fpi_5,r_fpi_6,r_strike_index,gait,gait_by,strike,strike_by,surfaces,used_for,weekly_km,before_wear,old_pair,tried,chosen_model,chosen_size,chosen_pair,referred,note\r\n" +
				id + ",S-1,F-1,,2026-10-05T14:03:00Z,262,,-2,,,,,,,,,,,,,,1,,highly pronated,,,,road trail,,,yes," + ref + ",,,,,no,\r\n",
		},
		{"sales", "pairs,month,batch,model,store\n012,2026-10,,017F22E2-79B0-7CC3-98C4-DC0C0C07398F,S-1\n", "store,model,batch,month,pairs\r\nS-1," + id + ",,2026-10,12\r\n"},
		{"events", "store,from,to,word\nS-1,2026-10-01,2026-10-03,\"offer \"\"3 for 2\"\"\"\n", "store,from,to,word\r\nS-1,2026-10-01,2026-10-03,\"offer \"\"3 for 2\"\"\"\r\n"},
	} {
		t.Run(tt.kind, func(t *testing.T) {
			for _, c := range codecs {
				if c.name != tt.kind {
					continue
				}
				for _, in := range []string{tt.in, tt.out} {
					out, rows, problems, err := c.decode([]byte(in))
					if err != nil || len(problems) > 0 || string(out) != tt.out {
						t.Fatalf("%s\n%s\ncame out as\n%s, want\n%s%v %v", c.name, in, out, tt.out, problems, err)
					}
					for _, row := range rows {
						if again, err := c.decodeJSON(row); err != nil || !bytes.Equal(again, row) || !json.Valid(row) {
							t.Errorf("JSON %s came out as %s, %v", row, again, err)
						}
					}
				}
				return
			}
			t.Fatal("no such kind")
		})
	}
}

func TestBadRowsAreNamed(t *testing.T) {
	for _, tt := range []struct {
		name, kind, in string
		want           []assess.FieldError
		err            error
	}{
		{
			"a zone there isn't, in the second row", "stores", "store,region,zone,currency,unit\nS-1,N,UTC,EUR,km\nS-2,N,Europe/Nowhere,EUR,km\n",
			[]assess.FieldError{{Line: 3, Column: 7, Field: "zone", Value: "Europe/Nowhere"}},
			assess.ErrOutOfRange,
		},
		{
			"a file of this machine for a zone", "stores", "store,region,zone,currency,unit\nS-1,N,../../etc/passwd,EUR,km\n",
			[]assess.FieldError{{Line: 2, Column: 7, Field: "zone", Value: "../../etc/passwd"}},
			assess.ErrOutOfRange,
		},
		{
			"a currency that is no code, and a unit that isn't", "stores", "store,region,zone,currency,unit\nS-1,N,UTC,€,feet\n",
			[]assess.FieldError{{Line: 2, Column: 11, Field: "currency", Value: "€"}, {Line: 2, Column: 15, Field: "unit", Value: "feet"}},
			assess.ErrOutOfRange,
		},
		{
			"a store without a code", "stores", "store,region,zone,currency,unit\n,N,UTC,EUR,km\n",
			[]assess.FieldError{{Line: 2, Column: 1, Field: "store"}},
			assess.ErrMissingField,
		},
		{
			"a further role without a place", "staff", "staff,role,scopes,also\nF-1,fitter,fleet,trainer\n",
			[]assess.FieldError{{Line: 2, Column: 18, Field: "also", Value: "trainer"}},
			assess.ErrOutOfRange,
		},
		{
			"a role there isn't", "staff", "staff,role,scopes\nF-1,boss,fleet\n",
			[]assess.FieldError{{Line: 2, Column: 5, Field: "role", Value: "boss"}},
			assess.ErrOutOfRange,
		},
		{
			"a scope there isn't", "staff", "staff,role,scopes\nF-1,fitter,city:X\n",
			[]assess.FieldError{{Line: 2, Column: 12, Field: "scopes", Value: "city:X"}},
			assess.ErrOutOfRange,
		},
		{
			"a GTIN with a wrong check digit", "shoe-models", "brand,model,gtins\nVelm,Arc,6291041500213 6291041500214\n",
			[]assess.FieldError{{Line: 2, Column: 10, Field: "gtins", Value: "6291041500213 6291041500214"}},
			assess.ErrOutOfRange,
		},
		{
			"a month there isn't", "sales", "store,model,month,pairs\nS-1,017f22e2-79b0-7cc3-98c4-dc0c0c07398f,2026-13,1\n",
			[]assess.FieldError{{Line: 2, Column: 42, Field: "month", Value: "2026-13"}},
			assess.ErrOutOfRange,
		},
		{
			"half a pair", "sales", "store,model,month,pairs\nS-1,017f22e2-79b0-7cc3-98c4-dc0c0c07398f,2026-12,1.5\n",
			[]assess.FieldError{{Line: 2, Column: 50, Field: "pairs", Value: "1.5"}},
			assess.ErrOutOfRange,
		},
		{
			"a day there isn't", "events", "store,from,to,word\nS-1,2026-02-28,2026-02-31,race\n",
			[]assess.FieldError{{Line: 2, Column: 16, Field: "to", Value: "2026-02-31"}},
			assess.ErrOutOfRange,
		},
		{
			"an event that ends before it begins", "events", "store,from,to,word\nS-1,2026-02-28,2026-02-27,race\n",
			[]assess.FieldError{{Line: 2, Column: 16, Field: "to", Value: "2026-02-27"}},
			assess.ErrInconsistent,
		},
		{
			"a posture item beyond 2", "fittings", "fitting_id,store,staff,at,l_fpi_1\n017f22e2-79b0-7cc3-98c4-dc0c0c07398f,S-1,F-1,2026-10-05T16:03:00Z,3\n",
			[]assess.FieldError{{Line: 2, Column: 67, Field: "l_fpi_1", Value: "3"}},
			assess.ErrOutOfRange,
		},
	} {
		t.Run(tt.name, func(t *testing.T) {
			for _, c := range codecs {
				if c.name != tt.kind {
					continue
				}
				_, _, problems, err := c.decode([]byte(tt.in))
				if err != nil || len(problems) != len(tt.want) {
					t.Fatalf("%v, %v", problems, err)
				}
				for i, p := range problems {
					if !errors.Is(p, tt.err) || p.Want == "" {
						t.Errorf("%+v, want %v", p, tt.err)
					}
					p.Want, p.Err = "", nil
					if p != tt.want[i] {
						t.Errorf("%+v, want %+v", p, tt.want[i])
					}
				}
				return
			}
			t.Fatal("no such kind")
		})
	}
	t.Run("a header without what every row must have", func(t *testing.T) {
		_, err := retail.Sales.CSV.Decoder(strings.NewReader("store,batch\n"))
		errs, _ := errors.AsType[assess.FieldErrors](err)
		if len(errs) != 3 || !errors.Is(err, assess.ErrMissingField) || errs[0].Field != "model" || errs[1].Field != "month" || errs[2].Field != "pairs" {
			t.Errorf("problems %v", err)
		}
	})
}

// FuzzFiles: whatever the file of whatever kind, what is taken comes out in a
// form that comes out as it is, in CSV and in JSON.
func FuzzFiles(f *testing.F) {
	for kind, c := range codecs {
		f.Add(byte(kind), []byte(c.header+"\r\n"))
	}
	f.Add(byte(1), []byte("store,region,zone,currency,unit\nS-1,N,Europe/Madrid,EUR,km\nS-2,N,,EUR,km\n"))
	f.Add(byte(2), []byte("staff,role,scopes\nF-1,manager,region:N  store:S-1\n"))
	f.Add(byte(3), []byte("model,brand,gtins,rigid_counter,drop_mm\nArc,Velm,6291041500213,no,0\nBow,Velm,,,\n"))
	f.Add(byte(5), []byte("fitting_id,store,staff,at,l_fpi_1\n017f22e2-79b0-7cc3-98c4-dc0c0c07398f,S,F,2026-10-05T16:03:00+02:00,-2\n"))
	f.Add(byte(6), []byte("store,model,month,pairs\nS-1,017f22e2-79b0-7cc3-98c4-dc0c0c07398f,2026-12,15\n"))
	f.Fuzz(func(t *testing.T, kind byte, text []byte) {
		c := codecs[int(kind)%len(codecs)]
		once, rows, _, err := c.decode(text)
		if err != nil {
			return
		}
		twice, again, problems, err := c.decode(once)
		if err != nil || len(problems) > 0 || !bytes.Equal(once, twice) || len(again) != len(rows) {
			t.Fatalf("%s\n%q came out as\n%q: %v %v", c.name, once, twice, problems, err)
		}
		for _, row := range rows {
			if back, err := c.decodeJSON(row); err != nil || !bytes.Equal(back, row) {
				t.Fatalf("%s: JSON %s came out as %s, %v", c.name, row, back, err)
			}
		}
	})
}
