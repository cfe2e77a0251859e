package weather

import (
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
)

const byteOrderMark = "\uFEFF"

// decode returns a file's text in UTF-8, without a byte order mark and without
// NUL, and what encoding it was in; "" for plain UTF-8. UTF-16 is known by its
// byte order mark or, without one, by every second byte being zero; what is
// neither UTF-16 nor valid UTF-8 is taken as Windows-1252, in which every text
// can be read and of which Latin-1 is a part. A file in UTF-16 that is no UTF-16
// matches [ErrDamaged].
func decode(body string) (plain, encoding string, err error) {
	if order, found := utf16Order(body); found {
		plain, err = unicode.UTF16(order, unicode.UseBOM).NewDecoder().String(body)
		if err != nil || strings.ContainsRune(plain, 0) {
			return "", "", fileError(ErrDamaged, "the file begins as UTF-16 but is none")
		}
		return plain, "UTF-16", nil
	}
	if rest, ok := strings.CutPrefix(body, byteOrderMark); ok {
		body, encoding = rest, "UTF-8 with a byte order mark"
	}
	if utf8.ValidString(body) {
		return body, encoding, nil
	}
	plain, err = charmapText(charmap.Windows1252, body)
	return plain, "Windows-1252, for it is no valid UTF-8", err
}

func charmapText(c encoding.Encoding, body string) (string, error) {
	plain, err := c.NewDecoder().String(body)
	if err != nil {
		return "", fileError(ErrDamaged, "the text cannot be decoded")
	}
	return plain, nil
}

// utf16Order tells the byte order of UTF-16.
func utf16Order(body string) (order unicode.Endianness, found bool) {
	switch {
	case strings.HasPrefix(body, "\xff\xfe"):
		return unicode.LittleEndian, true
	case strings.HasPrefix(body, "\xfe\xff"):
		return unicode.BigEndian, true
	}
	const look = 64 // Bytes: a heading, which is in Latin letters.
	var even, odd, n int
	for i := 0; i+1 < min(len(body), look); i += 2 {
		n++
		if body[i] == 0 {
			even++
		}
		if body[i+1] == 0 {
			odd++
		}
	}
	switch {
	case n < 8:
		return unicode.LittleEndian, false
	case odd > n/2 && even == 0:
		return unicode.LittleEndian, true
	case even > n/2 && odd == 0:
		return unicode.BigEndian, true
	}
	return unicode.LittleEndian, false
}
