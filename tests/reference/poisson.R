# Reference numbers for the exact limits of a count.
# Run once, from this folder:  Rscript poisson.R
# It writes poisson.csv and versions_poisson.txt, and stops at the first published value it does not meet.
#
# Method
#   Garwood F. Biometrika 1936;28:437-442 (limits of a Poisson mean by chi-square); survival::cipoisson, and beside it
#   stats::poisson.test, which finds them another way.
# Published
#   The limits of 0, 1, 4, 10 and 100 events are tabulated (Pearson ES, Hartley HO. Biometrika Tables for Statisticians,
#   volume 1, Cambridge 1966, table 40); quoted here from memory.
# Versions: versions_poisson.txt, written by the same run.

library(survival)

save_csv <- function(frame, name) write.csv(frame, name, row.names = FALSE, quote = FALSE, na = "", eol = "\n")

# ---- the quantities -----------------------------------------------------------------------------------------------

of_level <- function(level, events) {
  limits <- cipoisson(events, p = level)
  data.frame(events, level, low = limits[, "lower"], high = limits[, "upper"], row.names = NULL)
}
numbers <- rbind(of_level(0.95, c(0:20, 50, 100, 1000)), of_level(0.90, c(0:5, 100)), of_level(0.99, c(0:5, 100)))

by_test <- t(mapply(function(events, level) poisson.test(events, conf.level = level)$conf.int,
                    numbers$events, numbers$level))
stopifnot(abs(by_test - numbers[, c("low", "high")]) <= 1e-8 * pmax(1, numbers$high))

# ---- the published values ----------------------------------------------------------------------------------------
# Met when the computed number rounds to the digits printed.

published <- read.table(header = TRUE, colClasses = "character", text = "
  events  low     high
  0       0       3.689
  1       0.0253  5.572
  4       1.090   10.24
  10      4.795   18.39
  100     81.36   121.63
")

meets <- function(value, text) {
  digits <- ifelse(grepl("\\.", text), nchar(sub(".*\\.", "", text)), 0)
  abs(value - as.numeric(text)) <= 0.5 * 10^-digits + 1e-9
}

of_95 <- numbers[numbers$level == 0.95, ]
computed <- of_95[match(published$events, of_95$events), ]
met <- meets(computed$low, published$low) & meets(computed$high, published$high)
if (!all(met)) print(cbind(published, computed)[!met, ])
stopifnot(met)

# ---- the answers --------------------------------------------------------------------------------------------------

for (column in c("low", "high")) numbers[[column]] <- sprintf("%.12g", numbers[[column]])
save_csv(numbers, "poisson.csv")
writeLines(c(R.version.string, paste("survival", packageVersion("survival"))), "versions_poisson.txt")
cat(nrow(numbers), "rows;", 2 * nrow(published), "published values met\n")
