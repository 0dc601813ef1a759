package status

// For tests from outside the package.
const Width = width
