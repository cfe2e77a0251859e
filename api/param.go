package api

import (
	"reflect"
	"strconv"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/weather"
)

func itoa(n int) string { return strconv.Itoa(n) }

func typeOf[T any]() reflect.Type { return reflect.TypeFor[T]() }

// dateParam reads a date of the query; nil when it is not given.
func dateParam(name, text string, errs *[]error) *weather.Date {
	if text == "" {
		return nil
	}
	d, err := weather.ParseDate(text)
	if err != nil {
		*errs = append(*errs, &huma.ErrorDetail{Location: "query." + name, Message: "is not a calendar date YYYY-MM-DD of the years 1700 to 2400"})
		return nil
	}
	return &d
}
