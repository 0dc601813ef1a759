# The figures of a review once more, from its own table of flasks.
# Rscript month.R month-flasks.csv > month.csv     (R 4.2.2, packages base and stats only)
# month-flasks.csv is an invented month, made by the tests of the review.
f <- read.csv(commandArgs(TRUE)[1], stringsAsFactors = FALSE)
g <- function(x) trimws(formatC(x, digits = 12, format = "g"))
put <- function(...) cat(paste(..., sep = ","), "\n", sep = "")
cat("what,of,v1,v2,v3,v4,v5\n")
closed <- f[f$closed_at != "", ]
closed <- closed[order(closed$closed_at, closed$flask), ]
ended <- f[f$ended_at != "", ]
ended <- ended[order(ended$ended_at, ended$flask), ]
for (s in c("small", "medium", "large", "all")) {
  x <- closed$closures[s == "all" | closed$size == s]
  put("closures", s, length(x), g(mean(x)), g(sd(x)), g(median(x)), max(x))
  x <- ended$pin_mm[s == "all" | ended$size == s]
  x <- x[!is.na(x)]
  put("pin", s, length(x), g(mean(x)), g(sd(x)), g(median(x)), max(x))
}
x <- closed$packed_s[!is.na(closed$packed_s)]
q <- quantile(x, c(0.25, 0.75), names = FALSE)
put("packed", "", length(x), g(mean(x)), g(median(x)), g(q[1]), g(q[2]))
k <- table(factor(closed$dough_window, c("inside", "before", "after")))
ci <- suppressWarnings(prop.test(k[["inside"]], sum(k), correct = FALSE))$conf.int
put("dough", "", k[["inside"]], sum(k), g(ci[1]), g(ci[2]), "")
chart <- function(of, x) {
  x <- x[!is.na(x)]
  mr <- mean(abs(diff(x)))
  put("chart", of, g(mean(x)), g(mr), g(mean(x) + 2.660 * mr), g(3.267 * mr), sum(x > mean(x) + 2.660 * mr | x < mean(x) - 2.660 * mr))
}
chart("closures", closed$closures)
chart("pin", ended$pin_mm)
codes <- strsplit(ended$unusual, "; ")
for (c in c("any", sort(unique(unlist(codes))))) {
  has <- if (c == "any") lengths(codes) > 0 else vapply(codes, function(x) c %in% x, TRUE)
  for (w in c("defect", "remake")) {
    bad <- if (w == "defect") ended$defects != "" else ended$outcome == "remake"
    m <- matrix(c(sum(has & bad), sum(has & !bad), sum(!has & bad), sum(!has & !bad)), 2, byrow = TRUE)
    put(w, c, m[1, 1], sum(m[1, ]), m[2, 1], sum(m[2, ]), g(fisher.test(m)$p.value))
  }
}
