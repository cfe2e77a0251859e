// Package hindcast makes the forecasts of past mornings again and scores them
// beside simpler ways to forecast the same dates.
//
// # The way of the data
//
// [Replay] goes through past seasons morning by morning. Each morning's
// forecast is [forecast.Spreads] of that morning, which sees nothing that is
// dated later. A stage that had not come by then and was entered later in the
// season makes a [Case]: the forecast, every [Baseline], and the day on which
// it came. [Result.Rows] score the cases by [Group] of lead and by stage with
// package scoring. What cannot become a case is counted with its [Reason].
//
// # What a hindcast can prove
//
// It is out of sample: of this season it knows what the morning knew, of others
// only those before it. So no case is in sample. Yet it is no substitute for
// forecasts frozen in their time: it reads the records as they are known today,
// corrected ones too, and takes each for known on the day it is dated; and the
// program, the farm's method and what it states of its varieties are those of
// today, chosen by people who have seen these seasons. See [Foreknown].
//
// A group such as "7 days before" looks at cases by how they ended, as nobody
// can on the morning itself. That is how growers ask ("how good was it a week
// before?"), but an honest forecaster looks late in it when the lead is short:
// where fruit came soon, sooner than expected is the likelier story. Whether
// ranges are honest is told by [AllMornings], and by [AtBloom], for the events
// in them were not chosen by their outcome.
//
// # Conventions
//
// Those of packages forecast and scoring: error is forecast minus actual in
// days, scores are in days, a fractional date is in days since 1970-01-01. The
// same inputs and options give the same result, whatever the machine.
package hindcast
