# Reference values for shares, two by two tables and summaries.
# Rscript stats.R > stats.csv      (made with R 4.2.2, packages base and stats only)
put <- function(...) cat(paste(..., sep = ","), "\n", sep = "")
g <- function(x) trimws(formatC(x, digits = 15, format = "g"))
cat("what,a,b,c,d,v1,v2,v3\n")
# Score interval without continuity correction is Wilson's.
for (kn in list(c(81, 263), c(15, 148), c(0, 20), c(1, 29), c(7, 7), c(1, 2), c(3, 12), c(20, 488), c(250, 500), c(0, 1))) {
  ci <- suppressWarnings(prop.test(kn[1], kn[2], correct = FALSE))$conf.int
  put("wilson", kn[1], kn[2], "", "", g(ci[1]), g(ci[2]), "")
}
set.seed(20)
tables <- list(c(3, 1, 1, 3), c(4, 0, 0, 4), c(3, 9, 20, 468), c(0, 2, 3, 25), c(10, 2, 3, 15), c(0, 0, 3, 4), c(5, 0, 0, 0), c(120, 80, 90, 210))
for (i in 1:40) tables[[length(tables) + 1]] <- c(rpois(1, 4), rpois(1, 12), rpois(1, 9), rpois(1, 40))
for (t in tables) {
  m <- matrix(t, 2, byrow = TRUE)
  p <- function(alt) fisher.test(m, alternative = alt)$p.value
  put("fisher", t[1], t[2], t[3], t[4], g(p("two.sided")), g(p("greater")), g(p("less")))
}
# Quantiles of type 7: of n = a values sin(1..n) * b.
for (n in c(1, 2, 3, 4, 5, 8, 30)) for (b in c(1, 250)) {
  x <- sin(1:n) * b
  q <- quantile(x, c(0.25, 0.5, 0.75), names = FALSE)
  put("quantile", n, b, "", "", g(q[1]), g(q[2]), g(q[3]))
}
