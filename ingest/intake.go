package ingest

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// ParseNumber reads a decimal number with a point, as in JSON; a leading plus
// and spaces around are accepted. Hexadecimal, thousands separators, NaN and
// infinity are not. The error is a RefusedError: ImpossibleValue for what is
// written as a number and cannot be one, else BadPayload.
func ParseNumber(s string) (float64, error) {
	s = strings.TrimSpace(s)
	if !plainNumber(s) {
		return 0, notANumber(strings.Clone(s))
	}
	v, err := strconv.ParseFloat(s, 64)
	switch {
	case errors.Is(err, strconv.ErrRange):
		return 0, refuse(ImpossibleValue, "%s is too large for any value", quoted(strings.Clone(s)))
	case err != nil:
		return 0, notANumber(strings.Clone(s))
	}
	return v, nil
}

// plainNumber keeps out what strconv reads beside decimal numbers.
func plainNumber(s string) bool {
	for i := 0; i < len(s); i++ {
		if c := s[i]; (c < '0' || c > '9') && c != '.' && c != '-' && c != '+' && c != 'e' && c != 'E' {
			return false
		}
	}
	return s != ""
}

func notANumber(s string) *RefusedError {
	word := strings.ToLower(strings.TrimLeft(s, "+-"))
	switch {
	case word == "nan" || word == "inf" || word == "infinity":
		return refuse(ImpossibleValue, "%s is no number a sensor can mean", quoted(s))
	case s == "":
		return refuse(BadPayload, "the value is empty; a number such as 21.5 is needed")
	}
	return refuse(BadPayload, "%s is no number; write it as 21.5", quoted(s))
}

// Intake turns the values a source sends for one quantity into values in its
// canonical unit. It does not change after NewIntake.
type Intake struct {
	quantity       Quantity
	factor, offset float64
	low, high      float64
	words          map[string]float64 // lower case
	numbersMapped  bool
}

// NewIntake returns the intake for values of q that come in the given unit, ""
// for the canonical one. Words says for a mode what each of the controller's
// own words or numbers means; the names of the modes are always understood.
func NewIntake(q Quantity, u Unit, words map[string]string) (*Intake, error) {
	in := &Intake{quantity: q, factor: 1}
	in.low, in.high = q.Range()
	if u != "" && u != q.Unit() {
		if err := in.convertFrom(u); err != nil {
			return nil, err
		}
	}
	if len(words) > 0 && q != ModeQuantity {
		return nil, fmt.Errorf("values translate modes only; %s has none", q)
	}
	if q == ModeQuantity {
		return in, in.learn(words)
	}
	return in, nil
}

func (in *Intake) convertFrom(u Unit) error {
	code, err := ParseUnit(string(u))
	if err != nil {
		return err
	}
	if _, err := code.Convert(0, in.quantity); err != nil {
		return err
	}
	if code == One && in.quantity.Unit() == Percent {
		in.factor = 100
		return nil
	}
	c := conversions[code]
	in.factor, in.offset = c.factor, c.offset
	return nil
}

func (in *Intake) learn(words map[string]string) error {
	in.words = make(map[string]float64, len(modes)+len(words))
	for i, name := range modes {
		in.words[name] = float64(i)
	}
	for word, name := range words {
		mode, err := ParseMode(name)
		if err != nil {
			return fmt.Errorf("value %q: %w", word, err)
		}
		if v, err := ParseNumber(word); err == nil {
			word, in.numbersMapped = numberWord(v), true
		}
		in.words[strings.ToLower(strings.TrimSpace(word))] = float64(mode)
	}
	return nil
}

func numberWord(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// Number returns a number as it came in the canonical unit. The number of a
// mode is the canonical one unless the record gives numbers a meaning; then
// any other number is refused. The error is a RefusedError.
func (in *Intake) Number(v float64) (float64, error) {
	if in.numbersMapped {
		mode, ok := in.words[numberWord(v)]
		if !ok {
			return 0, refuse(BadPayload, "mode %g has no meaning among the values of the site record", v)
		}
		return mode, nil
	}
	if in.factor != 1 || in.offset != 0 {
		v = TidyDecimal(v*in.factor + in.offset)
	}
	if v >= in.low && v <= in.high && in.words == nil {
		return v, nil
	}
	if err := in.quantity.CheckValue(v); err != nil {
		return 0, refuse(ImpossibleValue, "%s", err)
	}
	return v, nil
}

// Text returns a value that came as text: a number, or for a mode also a word.
// The error is a RefusedError.
func (in *Intake) Text(s string) (float64, error) {
	if in.words != nil {
		if mode, ok := in.words[s]; ok {
			return mode, nil
		}
		if mode, ok := in.words[strings.ToLower(strings.TrimSpace(s))]; ok {
			return mode, nil
		}
	}
	v, err := ParseNumber(s)
	if err != nil && in.words != nil {
		return 0, refuse(BadPayload, "mode %s is none of %s, and no word the values of the site record explain",
			quoted(strings.Clone(s)), strings.Join(modes[:], ", "))
	}
	if err != nil {
		return 0, err
	}
	return in.Number(v)
}

// TidyDecimal takes off what a conversion adds behind the ninth decimal, so
// that 308.36 K is 35.21 °C and not 35.21000000000004: the store packs short
// decimals well. Large values have no ninth decimal.
func TidyDecimal(v float64) float64 {
	if math.Abs(v) > 1e6 {
		return v
	}
	return math.Round(v*1e9) / 1e9
}
