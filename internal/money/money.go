// Package money knows how many minor units make one of a currency.
package money

import (
	"fmt"
	"math"

	"golang.org/x/text/currency"
)

// Digits is how many decimals amounts of a currency have, by its ISO 4217 code: the count of Unicode CLDR, by x/text. An unknown
// code has two.
func Digits(code string) int {
	unit, err := currency.ParseISO(code)
	if err != nil {
		return 2
	}
	digits, _ := currency.Standard.Rounding(unit)
	return digits
}

// Minor is an amount in the smallest unit of its currency, rounded.
func Minor(amount float64, code string) int64 {
	return int64(math.Round(amount * math.Pow10(Digits(code))))
}

// Decimal writes an amount in minor units as programs read it: a point, no group signs, every decimal of the currency.
func Decimal(minor int64, code string) string {
	digits := Digits(code)
	if digits == 0 {
		return fmt.Sprint(minor)
	}
	sign, rest := "", uint64(minor)
	if minor < 0 {
		sign, rest = "-", -rest
	}
	one := uint64(math.Pow10(digits))
	return fmt.Sprintf("%s%d.%0*d", sign, rest/one, digits, rest%one)
}
