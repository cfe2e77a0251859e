package weather

import (
	"bufio"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"strings"
)

// Unpack reads all of r, which may be packed by gzip, up to MaxBytes unpacked;
// beyond that the error matches [ErrTooLarge], and [ErrDamaged] where the packed
// data is.
func Unpack(r io.Reader) (string, error) {
	src := &source{r: r, left: MaxBytes}
	in := bufio.NewReader(src)
	var out io.Reader = in
	magic, _ := in.Peek(2) // An error comes again with the first read.
	packed := string(magic) == "\x1f\x8b"
	if packed {
		z, err := gzip.NewReader(in)
		if err != nil {
			return "", src.cause(err)
		}
		out = z
	}
	var body strings.Builder
	n, err := io.Copy(&body, io.LimitReader(out, MaxBytes+1))
	switch {
	case n > MaxBytes:
		return "", errTooManyBytes
	case err != nil && packed:
		return "", src.cause(err)
	case err != nil:
		return "", fmt.Errorf("read weather file: %w", err)
	}
	return body.String(), nil
}

var errTooManyBytes error = fileError(ErrTooLarge, "the file is larger than %d MiB unpacked", MaxBytes>>20)

// source reads r up to a limit and remembers what it failed of, so that a
// damaged file can be told from a broken connection.
type source struct {
	r    io.Reader
	left int
	err  error
}

func (s *source) Read(p []byte) (int, error) {
	if s.left < 0 {
		s.err = errTooManyBytes
		return 0, s.err
	}
	n, err := s.r.Read(p[:min(len(p), s.left+1)])
	s.left -= n
	if err != nil && !errors.Is(err, io.EOF) {
		s.err = err
	}
	return n, err
}

// cause returns the error of the source or, if it had none, that of unpacking.
func (s *source) cause(err error) error {
	if s.err != nil {
		return fmt.Errorf("read weather file: %w", s.err)
	}
	return fmt.Errorf("%w: %w", fileError(ErrDamaged, "the file is packed by gzip but does not unpack"), err)
}
