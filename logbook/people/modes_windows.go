package people

const modesMean = false // here access lists do
