# Reference numbers for weighting by the chance of treatment: logistic fits, weights, and differences with errors.
# Run once, from this folder:  Rscript weighting.R
# It reads nhefs.csv, writes lalonde.csv, weighting.csv and versions_weighting.txt, and stops at the first published
# value it does not meet.
#
# Sources
#   nhefs      NHANES I Epidemiologic Follow-up Study (National Center for Health Statistics, in the public domain), as
#              prepared for Hernan MA, Robins JM. Causal Inference: What If. Chapman & Hall/CRC 2020, chapter 12: the
#              1,566 people whose weight was known in 1982. nhefs.csv holds the columns used, taken from the data set
#              nhefs_complete of the Python package causaldata 0.1.5 (MIT), weights to 0.01 kg and their change to 1e-8.
#   lalonde    LaLonde RJ. American Economic Review 1986;76:604-620; Dehejia RH, Wahba S. Journal of the American
#              Statistical Association 1999;94:1053-1062; MatchIt::lalonde, 614 men. Its three differences are
#              quoted in teaching; no page of a book was at hand for them.
# Methods
#   Horvitz DG, Thompson DJ. Journal of the American Statistical Association 1952;47:663-685 (weights).
#   Robins JM, Hernan MA, Brumback B. Epidemiology 2000;11:550-560 (stabilised weights).
#   White H. Econometrica 1980;48:817-838 (error of a weighted difference, HC0: each row by itself).
# Versions: versions_weighting.txt, written by the same run.

library(sandwich)
library(MatchIt)

save_csv <- function(frame, name) write.csv(frame, name, row.names = FALSE, quote = FALSE, na = "", eol = "\n")

# ---- the data sets ------------------------------------------------------------------------------------------------

nhefs <- read.csv("nhefs.csv")
stopifnot(nrow(nhefs) == 1566, !anyNA(nhefs))
data(lalonde)
stopifnot(nrow(lalonde) == 614)
save_csv(lalonde, "lalonde.csv")

# ---- the quantities: each function gives rows of weighting.csv ----------------------------------------------------

rows <- function(case, quantity, term, value)
  data.frame(case, quantity, term, value = as.numeric(value), row.names = NULL)

# glm settled to the last digit. Terms are named as in R: I(age^2), education2, racehispan and so on.
logistic <- function(formula, data)
  glm(formula, binomial, data, control = glm.control(epsilon = 1e-14, maxit = 100))

coefficient_rows <- function(case, found)
  rbind(rows(case, "logistic_coefficient", names(coef(found)), coef(found)),
        rows(case, "logistic_error", names(coef(found)), sqrt(diag(vcov(found)))))

difference <- function(found) unname(coef(found)[2])
by_row_error <- function(found) sqrt(vcovHC(found, type = "HC0")[2, 2])

# ---- the cases ----------------------------------------------------------------------------------------------------

for (column in c("education", "exercise", "active")) nhefs[[column]] <- factor(nhefs[[column]])
stopped <- nhefs$qsmk == 1
stopping <- logistic(qsmk ~ sex + race + age + I(age^2) + education + smokeintensity + I(smokeintensity^2) +
                       smokeyrs + I(smokeyrs^2) + exercise + active + wt71 + I(wt71^2), nhefs)
chance <- fitted(stopping)
weight <- ifelse(stopped, 1 / chance, 1 / (1 - chance))
stabilised <- weight * ifelse(stopped, mean(stopped), 1 - mean(stopped))
weighted <- lm(wt82_71 ~ qsmk, nhefs, weights = weight)
smoking <- rbind(
  coefficient_rows("nhefs", stopping),
  rows("nhefs", "naive_difference", NA, difference(lm(wt82_71 ~ qsmk, nhefs))),
  rows("nhefs", "weighted_difference", NA, difference(weighted)),
  rows("nhefs", "weighted_difference_error", NA, by_row_error(weighted)),
  rows("nhefs", c("mean_weight", "min_weight", "max_weight"), NA, c(mean(weight), range(weight))),
  rows("nhefs", c("mean_stabilised_weight", "min_stabilised_weight", "max_stabilised_weight"), NA,
       c(mean(stabilised), range(stabilised))))

# For the effect among the treated: they count once, the others as often as there are treated among their like.
training <- logistic(treat ~ age + educ + race + married + nodegree + re74 + re75, lalonde)
odds <- fitted(training) / (1 - fitted(training))
among_treated <- lm(re78 ~ treat, lalonde, weights = ifelse(lalonde$treat == 1, 1, odds))
adjusted <- lm(re78 ~ treat + age + educ + race + married + nodegree + re74 + re75, lalonde)
earning <- rbind(
  coefficient_rows("lalonde", training),
  rows("lalonde", "naive_difference", NA, difference(lm(re78 ~ treat, lalonde))),
  rows("lalonde", "adjusted_difference", NA, difference(adjusted)),
  rows("lalonde", "difference_among_treated", NA, difference(among_treated)),
  rows("lalonde", "difference_among_treated_error", NA, by_row_error(among_treated)),
  rows("lalonde", "sum_of_odds_of_untreated", NA, sum(odds[lalonde$treat == 0])))

numbers <- rbind(smoking, earning)
stopifnot(!duplicated(numbers[, c("case", "quantity", "term")]))

# ---- the published values ----------------------------------------------------------------------------------------
# Met when the computed number rounds to the digits printed.

published <- read.table(header = TRUE, colClasses = "character", text = "
  case     quantity                   published
  nhefs    naive_difference           2.541
  nhefs    weighted_difference        3.4405
  nhefs    weighted_difference_error  .5255
  nhefs    mean_weight                1.996
  nhefs    mean_stabilised_weight     .9988
  lalonde  naive_difference           -635
  lalonde  adjusted_difference        1548
  lalonde  difference_among_treated   1214
")

meets <- function(value, text) {
  digits <- if (grepl("\\.", text)) nchar(sub(".*\\.", "", text)) else 0
  abs(value - as.numeric(text)) <= 0.5 * 10^-digits + 1e-9
}

computed <- numbers$value[match(paste(published$case, published$quantity), paste(numbers$case, numbers$quantity))]
met <- mapply(meets, computed, published$published) %in% TRUE
if (!all(met)) print(cbind(published, computed)[!met, ])
stopifnot(met)

# ---- the answers --------------------------------------------------------------------------------------------------

numbers$value <- sprintf("%.12g", numbers$value)
save_csv(numbers, "weighting.csv")
version_of <- function(package) paste(package, packageVersion(package))
writeLines(c(R.version.string, sapply(c("sandwich", "MatchIt"), version_of)), "versions_weighting.txt")
cat(nrow(numbers), "numbers;", nrow(published), "published values met\n")
