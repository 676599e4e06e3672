package planning

import (
	"fmt"
	"math"
	"reflect"
)

// Finite tells of the first number in a value that JSON cannot carry and nobody
// can act on: not a number, or infinite. It names the figure by its JSON key.
func Finite(v any) error { return finite(reflect.ValueOf(v), "") }

func finite(v reflect.Value, key string) error {
	switch v.Kind() {
	case reflect.Pointer, reflect.Interface:
		if v.IsNil() {
			return nil
		}
		return finite(v.Elem(), key)
	case reflect.Float64:
		if x := v.Float(); math.IsNaN(x) || math.IsInf(x, 0) {
			return fmt.Errorf("%s comes out as %g: a number in the plan is too large or too small to work with", key, x)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			name := v.Type().Field(i).Tag.Get("json")
			if key != "" {
				name = key + "." + name
			}
			if err := finite(v.Field(i), name); err != nil {
				return err
			}
		}
	case reflect.Slice, reflect.Array:
		for i := range v.Len() {
			if err := finite(v.Index(i), fmt.Sprintf("%s[%d]", key, i)); err != nil {
				return err
			}
		}
	}
	return nil
}
