package drum

import (
	"errors"
	"fmt"
	"strings"
)

// ErrSpeedSymbol says that a tyre speed symbol names no speed.
var ErrSpeedSymbol = errors.New("no tyre speed symbol")

// speedSymbols gives the speed of each tyre speed symbol in km/h.
//
// Source: ISO 4223-1 and UN Regulation No. 75 (tyres of category L vehicles). The
// symbols J, K, M, S, T, H and V were read in product sheets under Regulation
// (EU) 2020/740; the rest is from memory.
var speedSymbols = map[string]float64{
	"A1": 5, "A2": 10, "A3": 15, "A4": 20, "A5": 25, "A6": 30, "A7": 35, "A8": 40,
	"B": 50, "C": 60, "D": 65, "E": 70, "F": 80, "G": 90, "J": 100, "K": 110, "L": 120,
	"M": 130, "N": 140, "P": 150, "Q": 160, "R": 170, "S": 180, "T": 190, "U": 200,
	"H": 210, "V": 240, "W": 270, "Y": 300,
}

// TyreSpeedLimit returns the speed in m/s up to which a tyre with the given speed
// symbol may be used. Case and surrounding space do not matter, and parentheses
// as in "(W)" are read as the symbol in them: the least the tyre is good for.
//
// "Z" and "ZR" say only that the tyre is good for more than 240 km/h, and name no
// limit; they, and anything unknown, are ErrSpeedSymbol.
func TyreSpeedLimit(symbol string) (float64, error) {
	key := strings.ToUpper(strings.TrimSpace(symbol))
	if len(key) > 2 && key[0] == '(' && key[len(key)-1] == ')' {
		key = key[1 : len(key)-1]
	}
	if key == "Z" || key == "ZR" {
		return 0, fmt.Errorf("%w: %q names no limit; give the speed that the tyre's maker states, as a symbol", ErrSpeedSymbol, symbol)
	}
	limit, ok := speedSymbols[key]
	if !ok {
		return 0, fmt.Errorf("%w: %q", ErrSpeedSymbol, symbol)
	}
	return limit / 3.6, nil
}
