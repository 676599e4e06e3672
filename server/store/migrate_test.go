package store

import (
	"database/sql"
	"os"
	"path/filepath"
	"slices"
	"testing"
)

// TestReadingsNamedByTimeAlone takes up a database of the format before: what was taken
// back there stays so, also of a check that is signed, and from then on two readings of
// one moment are told apart by their coils.
func TestReadingsNamedByTimeAlone(t *testing.T) {
	text, err := os.ReadFile("testdata/format7.sql")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	db, err := sql.Open("sqlite", filepath.Join(dir, FileName))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec(string(text)); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	for range 2 { // as it is brought up to date, and after
		s, err := Open(dir)
		if err != nil {
			t.Fatal(err)
		}
		defer s.Close()
		for check, want := range map[string][]ThrownOut{
			"open":   {{"anna", "A1", 5}, {"zelda", "coil:B2", 5}},
			"signed": {{"anna", "A1", 5}},
		} {
			if got, err := s.ThrownOut(t.Context(), check); err != nil || !slices.Equal(got, want) {
				t.Errorf("%s: taken back are %v, %v; expected %v", check, got, err, want)
			}
		}
		a2 := ThrownOut{Source: "anna", Coil: "A2", T: 5}
		if err := s.ThrowOut(t.Context(), "open", a2); err != nil {
			t.Fatal(err)
		}
		if got, err := s.ThrownOut(t.Context(), "open"); err != nil || len(got) != 3 || !slices.Contains(got, a2) {
			t.Errorf("of the same moment: %v, %v", got, err)
		}
		if err := s.PutBack(t.Context(), "open", a2); err != nil {
			t.Fatal(err)
		}
		if err := s.ThrowOut(t.Context(), "signed", a2); err == nil {
			t.Error("thrown out of a signed check")
		}
		if err := s.PutBack(t.Context(), "signed", ThrownOut{Source: "anna", Coil: "A1", T: 5}); err == nil {
			t.Error("put back in a signed check")
		}
		holds := []Hold{{Source: "anna", Coil: "A1", T: 5, Samples: 21}, {Source: "anna", Coil: "A2", T: 5, Samples: 7}}
		if err := s.SaveVerdict(t.Context(), "open", []byte(`{}`), holds); err != nil {
			t.Fatal(err)
		}
		a, err := s.Archive(t.Context(), "open")
		if err != nil {
			t.Fatal(err)
		}
		if want := []Hold{{"anna", "A1", 5, 21}, {"anna", "A2", 5, 7}, {"anna", "B1", 9, 12}}; !slices.Equal(a.Holds, want) {
			t.Errorf("holds %v, expected %v", a.Holds, want)
		}
		if a, err = s.Archive(t.Context(), "signed"); err != nil || a.Record == nil || len(a.ThrownOut) != 1 {
			t.Errorf("the signed check: %+v, %v", a, err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
}
