package store

import (
	"context"
	"errors"
	"fmt"
	"testing"
)

func TestDialectsAreKept(t *testing.T) {
	ctx, dir := context.Background(), t.TempDir()
	s, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range [][3]string{{"a", "", "1"}, {"b", "", "2"}, {"a", "", "3"}, {"c", "b", "4"}} {
		if err := s.KeepDialect(ctx, k[0], k[1], []byte(k[2])); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if s, err = Open(dir); err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	list, err := s.Dialects(ctx)
	if got := fmt.Sprintf("%s", list); err != nil || got != "[4 3]" { // c, which was b; a as it was said last
		t.Errorf("kept %s, %v", got, err)
	}
	if err := s.ForgetDialect(ctx, "a"); err != nil {
		t.Error(err)
	}
	if err := s.ForgetDialect(ctx, "a"); !errors.Is(err, errNoDialect) {
		t.Errorf("forgotten twice: %v", err)
	}
}
