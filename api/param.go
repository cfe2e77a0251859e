package api

import (
	"reflect"
	"strconv"

	"github.com/danielgtaylor/huma/v2"

	"ripetide/weather"
)

func itoa(n int) string { return strconv.Itoa(n) }

func typeOf[T any]() reflect.Type { return reflect.TypeFor[T]() }

// notADate is what is said of a text that [weather.ParseDate] refuses.
const notADate = "is not a calendar date YYYY-MM-DD of the years 1700 to 2400"

// dateParam reads a date of the query; nil when it is not given.
func dateParam(name, text string, errs *[]error) *weather.Date {
	if text == "" {
		return nil
	}
	d, err := weather.ParseDate(text)
	if err != nil {
		*errs = append(*errs, &huma.ErrorDetail{Location: "query." + name, Message: notADate})
		return nil
	}
	return &d
}
