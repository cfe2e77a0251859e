package pages

// MostFails is how many tries to sign in may fail, for the tests.
const MostFails = mostFails
