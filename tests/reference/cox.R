# Reference numbers for proportional hazards with start-stop rows, weights, strata and clusters, and for shares when the
# event is known only to lie between two dates. Run once, from this folder, after curves.R:  Rscript cox.R
# It writes the data sets, cox.csv and versions_cox.txt, and stops at the first published value it does not meet.
#
# Sources
#   six_rows   Therneau TM, Grambsch PM. Modeling Survival Data: Extending the Cox Model. Springer 2000, appendix.
#   freireich  Freireich EJ et al. Blood 1963;21:699-716; listed in Gehan EA. Biometrika 1965;52:203-223.
#   heart      Crowley J, Hu M. Journal of the American Statistical Association 1977;72:27-36; survival::heart
#              (start-stop rows) and survival::jasa (a row a person).
#   bmt        Copelan EA et al. Blood 1991;78:838-843; Klein JP, Moeschberger ML. Survival Analysis: Techniques for
#              Censored and Truncated Data. Springer 2003, section 1.3; KMsurv::bmt.
#   kidney     McGilchrist CA, Aisbett CW. Biometrics 1991;47:461-466; survival::kidney.
#   diabetic   Diabetic Retinopathy Study, high-risk eyes; Huster WJ et al. Biometrics 1989;45:145-156;
#              survival::diabetic.
#   bcdeter    Beadle GF et al. Cancer 1984;54:2911-2918; Klein and Moeschberger 2003, section 1.18; KMsurv::bcdeter.
#   tied_rows  invented below.
# Methods
#   Efron B. Journal of the American Statistical Association 1977;72:557-565 (ties).
#   Lin DY, Wei LJ. Journal of the American Statistical Association 1989;84:1074-1078 (errors by cluster).
#   Anderson JR et al. Journal of Clinical Oncology 1983;1:710-719 (landmark).
#   Turnbull BW. Journal of the Royal Statistical Society B 1976;38:290-295 (between two dates).
# Versions: versions_cox.txt, written by the same run.

library(survival)
library(KMsurv)

save_csv <- function(frame, name) write.csv(frame, name, row.names = FALSE, quote = FALSE, na = "", eol = "\n")

# ---- the data sets ------------------------------------------------------------------------------------------------

six_rows <- read.csv("six_rows.csv")
freireich <- read.csv("freireich.csv")
freireich$treated <- as.numeric(freireich$arm == "6-MP")
heart_rows <- read.csv("heart.csv")
data(bmt)
data(bcdeter)

# One row a person: age and year as in survival::heart, less 48 years and since October 1967.
jasa_csv <- data.frame(id = seq_len(nrow(jasa)), days = jasa$futime, died = jasa$fustat, transplant = jasa$transplant,
                       wait = jasa$wait.time, age = jasa$age - 48,
                       year = as.numeric(jasa$accept.dt - as.Date("1967-10-01")) / 365.25, surgery = jasa$surgery)

# Relapse or death (whichever first), and the day the platelets came back, if they did.
bmt_csv <- data.frame(id = seq_len(nrow(bmt)), group = bmt$group, days = bmt$t2, event = bmt$d3, recovered = bmt$dp,
                      recovery_day = ifelse(bmt$dp == 1, bmt$tp, NA))
stopifnot(bmt_csv$recovery_day < bmt_csv$days | is.na(bmt_csv$recovery_day))

kidney_csv <- kidney[, c("id", "time", "status", "age", "sex")]
diabetic_csv <- diabetic[, c("id", "time", "status", "trt")]

# Two months of arm 2 are known exactly: they become the last thousandth before their end.
exact <- bcdeter$lower == bcdeter$upper & !is.na(bcdeter$upper)
bcdeter_csv <- data.frame(arm = bcdeter$treat, after = bcdeter$lower - ifelse(exact, 0.001, 0), upto = bcdeter$upper)

# Whole weeks, so that events tie within strata; two to four rows a cluster, one after the other, some with gaps; strata
# cross the clusters; the weights are not whole numbers.
invent_rows <- function(clusters = 60) {
  set.seed(1977, kind = "Mersenne-Twister", normal.kind = "Inversion", sample.kind = "Rejection")
  cluster <- rep(seq_len(clusters), sample(2:4, clusters, replace = TRUE))
  n <- length(cluster)
  length_of <- sample(1:6, n, replace = TRUE)
  gap <- sample(0:2, n, replace = TRUE, prob = c(4, 1, 1))
  stop <- ave(length_of + gap, cluster, FUN = cumsum)
  level <- c(0.4, 0.6)[1 + cluster %% 2]
  treated <- rbinom(n, 1, 0.5)
  size <- round(rnorm(n, level, 1), 3)
  data.frame(cluster, stratum = sample(letters[1:3], n, replace = TRUE), start = stop - length_of, stop,
             event = rbinom(n, 1, plogis(treated + size / 2 - 1)), treated, size,
             weight = round(runif(n, 0.3, 2.5), 3))
}
tied_rows <- invent_rows()
events <- subset(tied_rows, event == 1)
stopifnot(sum(duplicated(events[, c("stop", "stratum")])) > 30, tied_rows$start >= 0,
          tied_rows$stop > tied_rows$start)

save_csv(jasa_csv, "jasa.csv")
save_csv(bmt_csv, "bmt.csv")
save_csv(kidney_csv, "kidney.csv")
save_csv(diabetic_csv, "diabetic.csv")
save_csv(bcdeter_csv, "bcdeter.csv")
save_csv(tied_rows, "tied_rows.csv")

# ---- the quantities: each function gives rows of cox.csv ----------------------------------------------------------

rows <- function(case, model, quantity, term, value)
  data.frame(case, model, quantity, term, value = as.numeric(value), row.names = NULL)

# coxph settled to the last digit. The call is built, for coxph looks up `cluster` and `weights` by name in the data.
fit <- function(...) {
  call <- match.call()
  call[[1]] <- quote(coxph)
  call$ties <- "efron"
  call$control <- quote(coxph.control(eps = 1e-14, toler.chol = 1e-15, iter.max = 50))
  eval(call, parent.frame())
}

# With clusters `var` holds their errors and `naive.var` the model's.
cox_rows <- function(case, model, found) {
  term <- sub("transplant1", "transplant", names(coef(found)))
  clustered <- !is.null(found$naive.var)
  plain <- if (clustered) found$naive.var else found$var
  out <- rbind(rows(case, model, "coefficient", term, coef(found)),
               rows(case, model, "error", term, sqrt(diag(plain))),
               rows(case, model, c("loglik_null", "loglik_fitted"), NA, found$loglik))
  if (clustered) rbind(out, rows(case, model, "robust_error", term, sqrt(diag(found$var)))) else out
}

# Turnbull's estimate by his own self-consistency, to the last digit: a mass for each interval (after, upto] in which a
# start is followed at once by an end. survfit stops when a round moves the curve by less than 5e-5, hence the check.
turnbull <- function(after, upto) {
  upto[is.na(upto)] <- Inf
  ends <- rbind(data.frame(time = upto, is_start = 0), data.frame(time = after, is_start = 1))
  ends <- ends[order(ends$time, ends$is_start), ]
  here <- which(diff(ends$is_start) == -1)
  from <- ends$time[here]
  to <- ends$time[here + 1]
  holds <- outer(after, from, "<=") & outer(upto, to, ">=")
  mass <- rep(1 / length(to), length(to))
  repeat {
    pull <- colMeans(holds / drop(holds %*% mass))
    if (max(pull) - 1 < 1e-12) break
    mass <- mass * pull
  }
  list(to = to, mass = mass, loglik = sum(log(holds %*% mass)))
}

# Shares still free after each month; a mass counts from the end of its interval.
between_rows <- function(arm, months) {
  data <- bcdeter_csv[bcdeter_csv$arm == arm, ]
  found <- turnbull(data$after, data$upto)
  free <- sapply(months, function(month) 1 - sum(found$mass[found$to <= month]))
  theirs <- survfit(Surv(after, upto, type = "interval2") ~ 1, data)
  stopifnot(abs(summary(theirs, times = months)$surv - free) < 2e-3)
  rbind(rows("bcdeter", arm, "share_free", months, free), rows("bcdeter", arm, "loglik_fitted", NA, found$loglik))
}

# ---- the cases ----------------------------------------------------------------------------------------------------

small <- rbind(
  cox_rows("six_rows", "plain", fit(Surv(time, event) ~ x, six_rows)),
  cox_rows("freireich", "plain", fit(Surv(time, event) ~ treated, freireich)))

# Naive: ever transplanted against never, counted from acceptance. Landmark: those followed beyond day 30, by whether
# they had the transplant by then.
landmark <- 30
alive <- subset(jasa_csv, days > landmark)
alive$by_then <- as.numeric(!is.na(alive$wait) & alive$wait <= landmark)
hearts <- rbind(
  cox_rows("heart", "aligned", fit(Surv(start, stop, event) ~ transplant, heart_rows)),
  cox_rows("heart", "aligned_adjusted", fit(Surv(start, stop, event) ~ age + year + surgery + transplant, heart_rows)),
  cox_rows("heart", "aligned_clustered",
           fit(Surv(start, stop, event) ~ age + year + surgery + transplant, heart_rows, cluster = id)),
  cox_rows("heart", "naive", fit(Surv(days, died) ~ transplant, jasa_csv)),
  cox_rows("heart", "naive_adjusted", fit(Surv(days, died) ~ age + year + surgery + transplant, jasa_csv)),
  cox_rows("heart", "landmark", fit(Surv(days, died) ~ by_then, alive)))

# The three disease groups stand in both models, group 1 being the one compared with.
bmt_csv$group2 <- as.numeric(bmt_csv$group == 2)
bmt_csv$group3 <- as.numeric(bmt_csv$group == 3)
split <- tmerge(bmt_csv, bmt_csv, id = id, ended = event(days, event), back = tdc(recovery_day))
marrow <- rbind(
  cox_rows("bmt", "naive", fit(Surv(days, event) ~ group2 + group3 + recovered, bmt_csv)),
  cox_rows("bmt", "aligned", fit(Surv(tstart, tstop, ended) ~ group2 + group3 + back, split)))

clusters <- rbind(
  cox_rows("kidney", "clustered", fit(Surv(time, status) ~ age + sex, kidney_csv, cluster = id)),
  cox_rows("diabetic", "clustered", fit(Surv(time, status) ~ trt, diabetic_csv, cluster = id)),
  cox_rows("diabetic", "stratified", fit(Surv(time, status) ~ trt + strata(id), diabetic_csv)))

invented <- rbind(
  cox_rows("tied_rows", "plain", fit(Surv(start, stop, event) ~ treated + size, tied_rows)),
  cox_rows("tied_rows", "clustered", fit(Surv(start, stop, event) ~ treated + size, tied_rows, cluster = cluster)),
  cox_rows("tied_rows", "weighted",
           fit(Surv(start, stop, event) ~ treated + size, tied_rows, weights = weight, cluster = cluster)),
  cox_rows("tied_rows", "stratified",
           fit(Surv(start, stop, event) ~ treated + size + strata(stratum), tied_rows, weights = weight,
               cluster = cluster)))

between <- rbind(between_rows(1, c(5, 7, 8, 12, 25, 34, 40)), between_rows(2, c(5, 12, 20, 34)))

numbers <- rbind(small, hearts, marrow, clusters, invented, between)
stopifnot(!duplicated(numbers[, c("case", "model", "quantity", "term")]))

# ---- the published values ----------------------------------------------------------------------------------------
# Met when the computed number rounds to the digits printed.

published <- read.table(header = TRUE, colClasses = "character", na.strings = "-", text = "
  case       model             quantity       term        published
  six_rows   plain             coefficient    x           1.676857
  freireich  plain             coefficient    treated     -1.572125
  freireich  plain             error          treated     0.4124
  heart      aligned           coefficient    transplant  0.1271
  heart      aligned           error          transplant  0.301
  heart      naive             coefficient    transplant  -1.3234
  heart      landmark          coefficient    by_then     -0.0888
  heart      landmark          error          by_then     0.282
  heart      aligned_adjusted  coefficient    transplant  -0.0103
  heart      naive_adjusted    coefficient    transplant  -1.7045
  bmt        naive             coefficient    recovered   -1.5276
  bmt        aligned           coefficient    back        -1.1202
  bmt        aligned           error          back        0.329
  kidney     clustered         coefficient    sex         -0.8293
  kidney     clustered         error          sex         0.299
  kidney     clustered         robust_error   sex         0.483
  diabetic   clustered         coefficient    trt         -0.7766
  diabetic   clustered         error          trt         0.1688
  diabetic   clustered         robust_error   trt         0.1475
  diabetic   stratified        coefficient    trt         -0.9623
  bcdeter    1                 share_free     5           .9537
  bcdeter    1                 share_free     7           .9203
  bcdeter    1                 share_free     8           .8316
  bcdeter    1                 share_free     12          .7609
  bcdeter    1                 share_free     25          .6682
  bcdeter    1                 share_free     34          .5864
  bcdeter    1                 share_free     40          .4656
  bcdeter    1                 loglik_fitted  -           -58.0600
  bcdeter    2                 loglik_fitted  -           -67.0877
")

meets <- function(value, text) {
  digits <- nchar(sub(".*\\.", "", text))
  abs(value - as.numeric(text)) <= 0.5 * 10^-digits + 1e-9
}

key <- function(frame) paste(frame$case, frame$model, frame$quantity, ifelse(is.na(frame$term), "", frame$term))
computed <- numbers$value[match(key(published), key(numbers))]
met <- mapply(meets, computed, published$published) %in% TRUE
if (!all(met)) print(cbind(published, computed)[!met, ])
stopifnot(met)

# ---- the answers --------------------------------------------------------------------------------------------------

numbers$value <- sprintf("%.12g", numbers$value)
save_csv(numbers, "cox.csv")
version_of <- function(package) paste(package, packageVersion(package))
writeLines(c(R.version.string, sapply(c("survival", "KMsurv"), version_of)), "versions_cox.txt")
cat(nrow(numbers), "numbers;", nrow(published), "published values met\n")
