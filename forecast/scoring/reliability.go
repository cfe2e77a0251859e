package scoring

// Decomposition takes a Brier score apart. Always, but for rounding,
//
//	Brier = Reliability - Resolution + Uncertainty + WithinVariance - WithinCovariance.
//
// The last two are 0 if no bin holds two different probabilities.
type Decomposition struct {
	Brier float64
	// Reliability is the mean squared difference of the probabilities from the
	// frequencies that followed: 0 if what is said to be 30 % happens in 30 %.
	Reliability float64
	// Resolution is the mean squared difference of those frequencies from the
	// frequency of all events: 0 if a forecast tells no two events apart.
	Resolution float64
	// Uncertainty is o(1-o) for the frequency o of all events. No forecast can
	// change it.
	Uncertainty float64
	// WithinVariance is the variance of the probabilities within bins, and
	// WithinCovariance twice their covariance with the outcomes there.
	WithinVariance, WithinCovariance float64
	// Table has the bins with events, lowest probability first.
	Table []Bin
}

// Bin is a row of a reliability table: the events whose probability lies in
// [From, To), in the last bin in [From, To].
type Bin struct {
	From, To    float64
	N           int
	Probability float64 // The mean of those given.
	Frequency   float64 // The share of events that happened.
}

// Decompose takes the [Brier] score of events apart by as many equal bins of
// probability.
//
// Decompose panics if there are no events, if bins is below 1 or if a
// probability is not in [0, 1].
//
// Murphy (1973), J. Appl. Meteorol. 12, 595-600; terms within bins by
// Stephenson, Coelho and Jolliffe (2008), Wea. Forecasting 23, 752-757. From
// memory; that they add up is tested.
func Decompose(events []Event, bins int) Decomposition {
	d := Decomposition{Brier: Brier(events)}
	h := newHistogram(bins)
	inBin := make([][]Event, bins)
	for _, e := range events {
		i := h.bin(e.Probability)
		inBin[i] = append(inBin[i], e)
	}
	all := row(events)
	n := float64(len(events))
	d.Uncertainty = all.Frequency * (1 - all.Frequency)
	for i, es := range inBin {
		if len(es) == 0 {
			continue
		}
		b := row(es)
		b.From, b.To = float64(i)/float64(bins), float64(i+1)/float64(bins)
		d.Table = append(d.Table, b)
		share := float64(b.N) / n
		d.Reliability += share * (b.Probability - b.Frequency) * (b.Probability - b.Frequency)
		d.Resolution += share * (b.Frequency - all.Frequency) * (b.Frequency - all.Frequency)
		for _, e := range es {
			dp := e.Probability - b.Probability
			d.WithinVariance += dp * dp / n
			d.WithinCovariance += 2 * dp * (e.outcome() - b.Frequency) / n
		}
	}
	return d
}

// row counts the events of a bin.
func row(events []Event) Bin {
	b := Bin{N: len(events)}
	base := events[0].Probability // Measured from it, equal ones have that very mean.
	for _, e := range events {
		b.Probability += e.Probability - base
		b.Frequency += e.outcome()
	}
	b.Probability = base + b.Probability/float64(b.N)
	b.Frequency /= float64(b.N)
	return b
}
